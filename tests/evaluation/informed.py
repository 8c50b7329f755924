"""The narrowest honest interval: the spread of an estimator that knows the noise model.

It knows the sizes of all errors, the craft's true battery curve and the weather's statistics, but
not the draws. Errors common to several figures enter by their gradients, finite differences of a
quasi-steady discharge; independent errors of a figure are added as variances:

* distance: S T, with S = 2 sd^2 memory + sd_white^2 step (integral of the noise's covariance);
* the water current's variation, Gauss-Markov: variance of (mean over the time to come - mean over
  the window), along the track; at constant speed it enters as power, by the local exponent.
"""

import math
from dataclasses import dataclass

import numpy as np

from tests.craft.battery import Battery, open_circuit_v, resistance_factor
from tests.craft.chance import Array
from tests.evaluation.truth import reserve_charge
from tests.evaluation.world import LFP_SHIFT_SD_V, World, calm_curve

SHAPE_SD_V = 0.035
"""Spread of the published lithium-ion curves about their mean, a cell (tests/data, mid-range)."""

WINDOW_S = 300.0


@dataclass(frozen=True)
class Now:
    """The instant of the figures, with its true values."""

    t_s: float
    charge_ah: float
    energy_wh: float
    distance_m: float
    power_w: float
    """Mean over the window, as for the speed [W]."""
    speed_mps: float
    left_s: float
    in_leg_s: float
    at_speed: bool
    wh_per_km_trip: float | None


def spreads(world: World, now: Now) -> dict[str, float]:
    """Return one standard deviation of each figure, keyed as in `coverage.FIGURES`."""
    shared = _posterior(world)
    sensors = world.sensors
    long_run = 2.0 * sensors.velocity_sd_mps**2 * sensors.velocity_memory_s
    long_run += sensors.velocity_noise_mps**2 * 0.2
    offset_wh = now.energy_wh / max(now.charge_ah, 1e-9) * now.t_s / 3600.0
    energy = np.array([0.0, 0.0, now.energy_wh, offset_wh, now.energy_wh, 0.0])
    energy_var = float(energy @ shared @ energy)
    volts = now.energy_wh / max(now.charge_ah, 1e-9)
    relative = np.array([0.0, 0.0, 1.0, volts / max(now.power_w, 1.0), 1.0, 0.0])
    power_var = float(relative @ shared @ relative)

    def per_km(seconds_s: float, distance_m: float) -> float:
        return math.sqrt(power_var + long_run * seconds_s / max(distance_m, 1.0) ** 2)

    window_s = min(WINDOW_S, max(now.in_leg_s, 20.0))
    result = {
        "energy": math.sqrt(energy_var),
        "distance": math.sqrt(long_run * now.t_s),
        "wh_per_km_20_s": now.power_w / now.speed_mps / 3.6 * per_km(20.0, 20.0 * now.speed_mps),
        "wh_per_km_300_s": now.power_w / now.speed_mps / 3.6
        * per_km(WINDOW_S, WINDOW_S * now.speed_mps),
    }  # fmt: skip
    if now.wh_per_km_trip:
        trip = math.sqrt(energy_var / now.energy_wh**2 + long_run * now.t_s / now.distance_m**2)
        result["wh_per_km_trip"] = now.wh_per_km_trip * trip
    left, gradient = _left_gradients(world, now)
    current = _wander_mps(world, window_s, now.left_s)
    course = current / now.speed_mps * (_exponent(world, now.speed_mps) if now.at_speed else 1.0)
    doppler = math.sqrt(long_run / window_s) / now.speed_mps
    lasts = gradient["time"]
    reach = gradient["range"]
    time_own = left["time"] * (course if now.at_speed else 0.0)
    range_own = left["range"] * math.hypot(course, doppler)
    result["left"] = math.sqrt(float(gradient["left"] @ shared @ gradient["left"]))
    result["time_left"] = math.sqrt(float(lasts @ shared @ lasts) + time_own**2)
    result["range"] = math.sqrt(float(reach @ shared @ reach) + range_own**2)
    return result


def _posterior(world: World) -> Array:
    """Return the covariance of the shared errors, given the rested pack's voltage."""
    stated, pack = world.stated, world.craft.battery
    shape = LFP_SHIFT_SD_V if pack.chemistry == "lfp" else SHAPE_SD_V
    sds = [
        stated.start_sd, stated.capacity_sd, stated.current_scale_sd, stated.current_offset_sd_a,
        stated.voltage_scale_sd, shape,
    ]  # fmt: skip
    prior = np.diag(np.square(sds))
    fraction, step = pack.start_fraction, 0.03
    high, low = min(fraction + step, 1.0), fraction - step
    slope = (open_circuit_v(pack, high) - open_circuit_v(pack, low)) / (high - low) / pack.cells
    cell_v = open_circuit_v(pack, fraction) / pack.cells
    observed = np.array([slope, 0.0, 0.0, 0.0, -cell_v, 1.0])
    # Averaged over the time at rest, so little noise is left in the voltage.
    variance = float(observed @ prior @ observed) + 0.003**2
    gain = prior @ observed / variance
    return prior - np.outer(gain, observed @ prior)


def _left_gradients(world: World, now: Now) -> tuple[dict[str, float], dict[str, Array]]:
    steps = np.diag([0.005, 0.01, 0.01, 0.01, 0.002, 0.005])
    middle = _left(world, now, np.zeros(6))
    gradient = {name: np.zeros(6) for name in middle}
    for k in range(6):
        up, down = _left(world, now, steps[k]), _left(world, now, -steps[k])
        for name in middle:
            gradient[name][k] = (up[name] - down[name]) / (2.0 * steps[k, k])
    return middle, gradient


def _left(world: World, now: Now, errors: Array) -> dict[str, float]:
    """Return energy, time and range left for given shared errors and unchanged readings."""
    start, capacity, gain, offset, voltage, shape = errors
    pack, stated = world.craft.battery, world.stated
    full_ah = pack.capacity_ah * (1.0 + capacity)
    drawn_ah = now.charge_ah * (1.0 + gain) + offset * now.t_s / 3600.0
    fraction = pack.start_fraction + start - drawn_ah / full_ah
    volts = now.energy_wh / max(now.charge_ah, 1e-9)
    power_w = now.power_w * (1.0 + gain) * (1.0 + voltage) + offset * volts
    left_wh = discharge_wh(
        pack, fraction, full_ah, power_w, shape * pack.cells, stated.reserve_fraction,
        stated.cutoff_v,
    )  # fmt: skip
    left_s = left_wh / power_w * 3600.0
    return {"left": left_wh, "time": left_s, "range": left_s * now.speed_mps}


def discharge_wh(  # noqa: PLR0917
    pack: Battery,
    fraction: float,
    full_ah: float,
    power_w: float,
    shift_v: float,
    reserve_fraction: float,
    cutoff_v: float,
) -> float:
    """Return the energy at the terminals down to reserve or cut-off, at constant power [Wh]."""
    empty = reserve_charge(pack, reserve_fraction)
    if fraction <= empty:
        return 0.0
    places = np.linspace(fraction, empty, 60)
    open_v = np.array([open_circuit_v(pack, place) for place in places.tolist()]) + shift_v
    settled_ohm = pack.resistance_ohm + pack.slow_resistance_ohm + pack.slower_resistance_ohm
    grown = [resistance_factor(pack, place, pack.temperature_degc) for place in places.tolist()]
    resistance_ohm = settled_ohm * np.array(grown)
    square = open_v**2 - 4.0 * resistance_ohm * power_w
    volts = 0.5 * (open_v + np.sqrt(np.maximum(square, 0.0)))
    short = np.flatnonzero((volts < cutoff_v) | (square < 0.0))
    stop = int(short[0]) if len(short) else len(volts)
    if stop < 2:
        return 0.0
    means_v = 0.5 * (volts[1:stop] + volts[: stop - 1])
    return float(np.sum(means_v * -np.diff(places[:stop]))) * full_ah


def _wander_mps(world: World, past_s: float, next_s: float) -> float:
    """Return the sd of the water current's mean over the time to come minus that over the past."""
    water = world.ride.water
    memory_s, sd = water.drift_memory_s, water.drift_sd_mps

    def mean_variance(seconds_s: float) -> float:
        x = max(seconds_s, 1.0) / memory_s
        return 2.0 / x * (1.0 - (1.0 - math.exp(-x)) / x)

    a, b = max(past_s, 1.0) / memory_s, max(next_s, 1.0) / memory_s
    both = (1.0 - math.exp(-a)) * (1.0 - math.exp(-b)) / (a * b)
    return sd * math.sqrt(max(mean_variance(past_s) + mean_variance(next_s) - 2.0 * both, 0.0))


def _exponent(world: World, speed_mps: float) -> float:
    """Return the local exponent of power over speed."""
    speeds, powers = calm_curve(world.name)
    low, high = np.interp([0.93 * speed_mps, 1.07 * speed_mps], speeds, powers)
    return float(math.log(high / low) / math.log(1.07 / 0.93))
