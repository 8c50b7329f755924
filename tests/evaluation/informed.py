"""The narrowest honest interval: the spread of an estimator that is told all but the draws.

It is told what the rider holds, to and fro or straight on, the true speed-power curve, the weather
and how it changes, the true battery curve and its resistances, and the sizes of all errors; not the
draws of pack and sensors, nor how the water current will wander. Errors common to several figures
enter by their gradients, finite differences of a quasi-steady discharge; independent errors of a
figure are added as variances:

* distance: S T, with S = 2 sd^2 memory + sd_white^2 step (integral of the noise's covariance);
* the water current, Gauss-Markov: variance of its mean over the time to come, given its present
  value, along the track; at constant speed it enters as power, by the local exponent. To and fro it
  cancels to first order.

At a held duty power falls with the pack's voltage, V, as V^k, and speed with the power.
"""

import math
from dataclasses import dataclass

import numpy as np

from tests.craft.battery import open_circuit_v
from tests.craft.chance import Array
from tests.evaluation.discharge import Hold, discharge, discharge_wh, duty_exponents
from tests.evaluation.world import LFP_SHIFT_SD_V, World, calm_curve

__all__ = ["WINDOW_S", "Ahead", "Now", "discharge_wh", "predicted", "spreads"]

SHAPE_SD_V = 0.035
"""Spread of the published lithium-ion curves about their mean, a cell (tests/data, mid-range)."""

WINDOW_S = 300.0


@dataclass(frozen=True)
class Ahead:
    """The riding to come: true means, and what is held."""

    power_w: float
    speed_mps: float
    left_s: float
    at_speed: bool
    at_duty: bool
    laps: bool
    pack_degc: float


@dataclass(frozen=True)
class Now:
    """The instant of the figures, with its true values."""

    t_s: float
    charge_ah: float
    energy_wh: float
    distance_m: float
    power_w: float
    """Mean over the last minutes, as for the speed [W]."""
    speed_mps: float
    wh_per_km_trip: float | None
    ahead: Ahead


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
    ahead = now.ahead
    course = 0.0 if ahead.laps else _wander_mps(world, ahead.left_s) / ahead.speed_mps
    if ahead.at_speed:
        course *= _exponent(world, ahead.speed_mps)
    lasts, reach = gradient["time_left"], gradient["range"]
    time_own = left["time_left"] * (course if ahead.at_speed else 0.0)
    range_own = left["range"] * course
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


def predicted(world: World, now: Now) -> dict[str, float]:
    """Return energy, time and range left as foreseen without any error."""
    return _left(world, now, np.zeros(6), _hold(world, now))


def _left_gradients(world: World, now: Now) -> tuple[dict[str, float], dict[str, Array]]:
    steps = np.diag([0.005, 0.01, 0.01, 0.01, 0.002, 0.005])
    hold = _hold(world, now)
    middle = _left(world, now, np.zeros(6), hold)
    gradient = {name: np.zeros(6) for name in middle}
    for k in range(6):
        up, down = (_left(world, now, sign * steps[k], hold) for sign in (1.0, -1.0))
        for name in middle:
            gradient[name][k] = (up[name] - down[name]) / (2.0 * steps[k, k])
    return middle, gradient


def _hold(world: World, now: Now) -> Hold | None:
    """Return how power falls with the pack's voltage from here on; None where it does not."""
    ahead = now.ahead
    if not ahead.at_duty:
        return None
    power, speed = duty_exponents(world, ahead.power_w - world.craft.hotel_w)
    left = discharge(
        world.craft.battery, _fraction(world, now, np.zeros(6)), world.craft.battery.capacity_ah,
        ahead.power_w, 0.0, world.stated.reserve_fraction, world.stated.cutoff_v, ahead.pack_degc,
    )  # fmt: skip
    volts_v = float(np.mean(left.volts_v)) if len(left.volts_v) else world.stated.cutoff_v
    return Hold(volts_v, power, speed)


def _fraction(world: World, now: Now, errors: Array) -> float:
    """Return the charge left for given shared errors."""
    pack = world.craft.battery
    drawn_ah = now.charge_ah * (1.0 + errors[2]) + errors[3] * now.t_s / 3600.0
    return float(pack.start_fraction + errors[0] - drawn_ah / pack.capacity_ah / (1.0 + errors[1]))


def _left(world: World, now: Now, errors: Array, hold: Hold | None) -> dict[str, float]:
    """Return energy, time and range left for given shared errors and unchanged readings."""
    _, capacity, gain, offset, voltage, shape = errors
    pack, stated, ahead = world.craft.battery, world.stated, now.ahead
    volts = now.energy_wh / max(now.charge_ah, 1e-9)
    power_w = ahead.power_w * (1.0 + gain) * (1.0 + voltage) + offset * volts
    left = discharge(
        pack, _fraction(world, now, errors), pack.capacity_ah * (1.0 + capacity), power_w,
        shape * pack.cells, stated.reserve_fraction, stated.cutoff_v, ahead.pack_degc, hold,
    )  # fmt: skip
    return {
        "left": float(np.sum(left.wh)),
        "time_left": float(np.sum(left.seconds_s)),
        "range": float(np.sum(left.seconds_s * left.slower)) * ahead.speed_mps,
    }


def _wander_mps(world: World, next_s: float) -> float:
    """Return the sd of the water current's mean over the time to come, given its present value."""
    water = world.ride.water
    x = max(next_s, 1.0) / water.drift_memory_s
    # Gauss-Markov: variance of the mean, less that which the present value explains.
    mean = 2.0 / x * (1.0 - (1.0 - math.exp(-x)) / x)
    explained = ((1.0 - math.exp(-x)) / x) ** 2
    return water.drift_sd_mps * math.sqrt(max(mean - explained, 0.0))


def _exponent(world: World, speed_mps: float) -> float:
    """Return the local exponent of power over speed."""
    speeds, powers = calm_curve(world.name)
    low, high = np.interp([0.93 * speed_mps, 1.07 * speed_mps], speeds, powers)
    return float(math.log(high / low) / math.log(1.07 / 0.93))
