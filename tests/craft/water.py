"""Water and weather: the water current, wind with gusts, and waves."""

import math
from dataclasses import dataclass

import numpy as np

from tests.craft.chance import Array, gauss_markov, generator

AIR_DENSITY_KGPM3 = 1.225
"""International Standard Atmosphere at sea level."""


@dataclass(frozen=True)
class Water:
    """A body of water and its weather. Directions: water sets towards, wind blows from."""

    density_kgpm3: float = 1025.0
    viscosity_m2ps: float = 1.189e-6
    """Sea water at 15 degC (figure quoted from the ITTC's tables)."""
    set_deg: float = 0.0
    drift_mps: float = 0.0
    drift_sd_mps: float = 0.0
    """Standard deviation of slow changes of the water current, per axis."""
    drift_memory_s: float = 300.0
    wind_from_deg: float = 0.0
    wind_mps: float = 0.0
    wind_rise_mps2: float = 0.0
    """Rate at which the mean wind rises [m/s per s] ..."""
    wind_most_mps: float = 12.0
    """... up to this."""
    wind_turn_degps: float = 0.0
    """Rate at which the wind's direction turns, clockwise."""
    gust_sd_mps: float = 0.0
    gust_memory_s: float = 8.0
    wave_speed_mps: float = 0.0
    """Standard deviation of the speed variation caused by waves."""
    wave_periods_s: tuple[float, float] = (2.0, 5.0)


@dataclass(frozen=True)
class Surroundings:
    """Water and wind at each step, east and north, and the push of the waves."""

    current_east_mps: Array
    current_north_mps: Array
    wind_east_mps: Array
    wind_north_mps: Array
    wave_mps2: Array
    """Acceleration along the craft."""


def surroundings(water: Water, count: int, step_s: float, seed: int) -> Surroundings:
    """Draw the water current, wind and waves of a ride."""
    towards = math.radians(water.set_deg)
    wind_towards = math.radians(water.wind_from_deg + 180.0)
    slow = generator(seed, "water current")
    gusts = generator(seed, "gusts")

    def drift(part: float) -> Array:
        wander = gauss_markov(count, step_s, water.drift_sd_mps, water.drift_memory_s, slow)
        return water.drift_mps * part + wander

    mean_mps = water.wind_mps + water.wind_rise_mps2 * step_s * np.arange(count)
    mean_mps = np.minimum(mean_mps, max(water.wind_most_mps, water.wind_mps)).astype(np.float64)

    towards_east: float | Array = math.sin(wind_towards)
    towards_north: float | Array = math.cos(wind_towards)
    if water.wind_turn_degps:
        turned = wind_towards + math.radians(water.wind_turn_degps) * step_s * np.arange(count)
        towards_east, towards_north = np.sin(turned), np.cos(turned)

    def wind(part: float | Array) -> Array:
        gust = gauss_markov(count, step_s, water.gust_sd_mps, water.gust_memory_s, gusts)
        blows: Array = mean_mps * part + gust
        return blows

    return Surroundings(
        drift(math.sin(towards)),
        drift(math.cos(towards)),
        wind(towards_east),
        wind(towards_north),
        _waves(water, np.arange(count, dtype=np.float64) * step_s, generator(seed, "waves")),
    )


def _waves(water: Water, times_s: Array, rng: np.random.Generator, trains: int = 6) -> Array:
    """Sum a few wave trains of equal weight; their beat forms the groups seen on real water."""
    periods_s = rng.uniform(*water.wave_periods_s, trains)
    phases = rng.uniform(0.0, 2.0 * math.pi, trains)
    amplitude_mps = water.wave_speed_mps * math.sqrt(2.0 / trains)
    push = np.zeros_like(times_s)
    for period_s, phase in zip(periods_s, phases, strict=True):
        rate = 2.0 * math.pi / period_s
        push += amplitude_mps * rate * np.cos(rate * times_s + phase)
    return push
