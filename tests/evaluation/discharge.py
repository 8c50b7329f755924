"""A quasi-steady discharge of the true pack: at constant power, or at a constant duty.

At a duty the motor gets a share of the pack's voltage V: power falls as V^k, and speed with it.
"""

import math
from dataclasses import dataclass

import numpy as np

from tests.craft.battery import Battery, open_circuit_v, resistance_factor
from tests.craft.chance import Array
from tests.craft.hull import resistance_n
from tests.craft.motor import shaft_point, throttled_point
from tests.evaluation.truth import reserve_charge
from tests.evaluation.world import World, calm_speed_mps


@dataclass(frozen=True)
class Hold:
    """Power and speed as the pack's voltage falls: a constant duty."""

    volts_v: float
    """The voltage at which they are as given."""
    power_exponent: float
    speed_exponent: float


@dataclass(frozen=True)
class Discharge:
    """Parts of a discharge, in order."""

    volts_v: Array
    wh: Array
    seconds_s: Array
    slower: Array
    """Speed over that at the voltage of `Hold`."""


def discharge(  # noqa: PLR0917
    pack: Battery,
    fraction: float,
    full_ah: float,
    power_w: float,
    shift_v: float,
    reserve_fraction: float,
    cutoff_v: float,
    pack_degc: float | None = None,
    hold: Hold | None = None,
) -> Discharge:
    """Return a quasi-steady discharge down to reserve or cut-off, at constant power without a hold.

    `pack_degc` is the pack's temperature, by default that at the start.
    """
    none = np.zeros(0)
    empty = reserve_charge(pack, reserve_fraction)
    if fraction <= empty:
        return Discharge(none, none, none, none)
    degc = pack.temperature_degc if pack_degc is None else pack_degc
    places = np.linspace(fraction, empty, 60)
    open_v = np.array([open_circuit_v(pack, place) for place in places.tolist()]) + shift_v
    settled_ohm = pack.resistance_ohm + pack.slow_resistance_ohm + pack.slower_resistance_ohm
    grown = np.array([resistance_factor(pack, place, degc) for place in places.tolist()])
    powers_w = np.full(len(places), power_w)
    for _ in range(1 if hold is None else 6):
        square = open_v**2 - 4.0 * settled_ohm * grown * powers_w
        volts = 0.5 * (open_v + np.sqrt(np.maximum(square, 0.0)))
        if hold is not None:
            powers_w = power_w * (volts / hold.volts_v) ** hold.power_exponent
    short = np.flatnonzero((volts < cutoff_v) | (square < 0.0))
    stop = int(short[0]) if len(short) else len(volts)
    if stop < 2:
        return Discharge(none, none, none, none)
    means_v = 0.5 * (volts[1:stop] + volts[: stop - 1])
    means_w = 0.5 * (powers_w[1:stop] + powers_w[: stop - 1])
    wh = means_v * -np.diff(places[:stop]) * full_ah
    slower = np.ones(len(means_v))
    if hold is not None:
        slower = (means_v / hold.volts_v) ** hold.speed_exponent
    return Discharge(means_v, wh, wh / means_w * 3600.0, slower)


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
    left = discharge(pack, fraction, full_ah, power_w, shift_v, reserve_fraction, cutoff_v)
    return float(np.sum(left.wh))


def duty_exponents(world: World, drive_w: float) -> tuple[float, float]:
    """Return the exponents of battery power and speed over battery voltage at a constant duty.

    Of the craft at a steady speed through calm water; the hotel load does not change.
    """
    craft, water = world.craft, world.ride.water

    def steady(motor_v: float) -> tuple[float, float]:
        low, high = 0.1, 6.0
        for _ in range(40):
            speed = 0.5 * (low + high)
            shaft = throttled_point(
                craft.motor, craft.propeller, speed * (1.0 - craft.propeller.wake_fraction),
                volts_v=motor_v, density_kgpm3=water.density_kgpm3, guess_turns_per_s=10.0,
            )  # fmt: skip
            drag_n = resistance_n(craft.hull, speed, water.density_kgpm3, water.viscosity_m2ps)
            thrust_n = shaft.thrust_n if shaft else 0.0
            if thrust_n * (1.0 - craft.propeller.thrust_deduction_fraction) > drag_n:
                low, power_w = speed, shaft.motor.power_w if shaft else 0.0
            else:
                high = speed
        return power_w / craft.motor.drive_efficiency_fraction, speed

    motor_v = _motor_v(world, drive_w)
    (full_w, full_mps), (less_w, less_mps) = steady(motor_v), steady(0.97 * motor_v)
    per = math.log(0.97)
    battery = (less_w + craft.hotel_w) / (full_w + craft.hotel_w)
    return math.log(battery) / per, math.log(less_mps / full_mps) / per


def _motor_v(world: World, drive_w: float) -> float:
    craft = world.craft
    speed_mps = calm_speed_mps(world.name, drive_w + craft.hotel_w)
    shaft = shaft_point(
        craft.motor, craft.propeller, drive_w, speed_mps * (1.0 - craft.propeller.wake_fraction),
        density_kgpm3=world.ride.water.density_kgpm3, guess_turns_per_s=10.0,
    )  # fmt: skip
    if shaft is None:
        raise ValueError(f"{drive_w:.0f} W do not drive the {world.name}")
    return shaft.motor.volts_v
