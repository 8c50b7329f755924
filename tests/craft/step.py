"""One time step: records the craft's state, then advances motion, battery and temperatures."""

import math

from tests.craft.battery import load_amps_a, open_circuit_v, resistance_factor
from tests.craft.craft import Craft, Moment, Ride, State
from tests.craft.hull import resistance_n
from tests.craft.motion import move, over_ground_mps
from tests.craft.motor import shaft_point, throttled_point
from tests.craft.propeller import idle_drag_n
from tests.craft.rider import Steer, throttle_w

COLUMNS = (
    "made_fast",
    "east_mps",
    "north_mps",
    "water_mps",
    "heading_rad",
    "turn_radps",
    "volts_v",
    "amps_a",
    "open_circuit_v",
    "slow_sag_v",
    "charge_fraction",
    "drive_w",
    "motor_rpm",
    "motor_amps_a",
    "motor_volts_v",
    "shaft_w",
    "propeller_w",
    "thrust_n",
    "resistance_n",
    "pack_degc",
    "drive_degc",
)
"""Columns recorded by `step`, in order, with the names in the truth."""

LEAST_DRIVE_W = 1.0
"""Power below which the drive does not turn [W]."""


def step(ride: Ride, state: State, moment: Moment, step_s: float) -> tuple[float, ...]:
    """Return the state at this instant as a row of `COLUMNS`, and advance it by one step."""
    craft, water = ride.craft, ride.water
    soon_mps = state.seen_mps + ride.rider.lead_s * state.trend_mps2
    # The speed of advance first: made fast, it is the water that runs past.
    over_ground = over_ground_mps(state, moment, step_s)
    advance_mps = state.water_mps * (1.0 - craft.propeller.wake_fraction)
    state.throttle_w = throttle_w(
        ride.rider,
        moment.leg,
        in_leg_s=moment.in_leg_s,
        start_w=moment.leg_start_w,
        now_w=state.throttle_w,
        soon_mps=soon_mps,
        step_s=step_s,
        held_w=_throttled_w(ride, state, moment, advance_mps),
    )
    drive_w, works, propeller_w, thrust_n = _drive(ride, state, advance_mps)
    open_v = open_circuit_v(craft.battery, state.charge_fraction)
    sag_v = state.slow_sag_v + state.slower_sag_v
    grown = resistance_factor(craft.battery, state.charge_fraction, state.pack_degc)
    resistance_ohm = craft.battery.resistance_ohm * grown
    behind_v = open_v - sag_v
    amps = load_amps_a(behind_v, resistance_ohm, drive_w + craft.hotel_w)
    volts = behind_v - amps * resistance_ohm
    state.volts_v = volts
    _settle(craft, state, amps, step_s)
    drag_n = resistance_n(craft.hull, state.water_mps, water.density_kgpm3, water.viscosity_m2ps)
    row = (
        float(moment.leg.steer is Steer.MADE_FAST), *over_ground, state.water_mps,
        state.heading_rad, state.turn_radps, volts, amps, open_v, sag_v,
        state.charge_fraction, drive_w, *works, propeller_w, thrust_n, drag_n, state.pack_degc,
        state.drive_degc,
    )  # fmt: skip

    move(ride, state, moment, over_ground, force_n=thrust_n - drag_n, step_s=step_s)
    _drain(craft, state, amps, grown, step_s)
    _warm(craft, state, drive_w - works[1] * works[2], step_s)
    return row


def _throttled_w(ride: Ride, state: State, moment: Moment, advance_mps: float) -> float | None:
    """Return the drive power that a leg's throttle takes at present; None if it has none.

    A duty is one of the battery voltage of the previous step: in a step that hardly changes.
    """
    leg, craft = moment.leg, ride.craft
    if leg.duty is None and leg.motor_amps_a is None:
        return None
    battery_v = state.volts_v or open_circuit_v(craft.battery, state.charge_fraction)
    shaft = throttled_point(
        craft.motor,
        craft.propeller,
        advance_mps,
        volts_v=None if leg.duty is None else leg.duty * battery_v,
        amps_a=leg.motor_amps_a,
        density_kgpm3=ride.water.density_kgpm3,
        guess_turns_per_s=state.turns_per_s,
    )
    return shaft.motor.power_w / craft.motor.drive_efficiency_fraction if shaft else 0.0


def _drive(
    ride: Ride, state: State, advance_mps: float
) -> tuple[float, tuple[float, float, float, float], float, float]:
    """Return drive power; motor's rpm, amps, volts, shaft power; propeller power; thrust."""
    craft, density = ride.craft, ride.water.density_kgpm3
    shaft = None
    if state.throttle_w > LEAST_DRIVE_W:
        shaft = shaft_point(
            craft.motor,
            craft.propeller,
            state.throttle_w,
            advance_mps,
            density_kgpm3=density,
            guess_turns_per_s=state.turns_per_s,
        )
    if shaft is None:
        drag_n = idle_drag_n(craft.propeller, advance_mps, density)
        return 0.0, (0.0, 0.0, 0.0, 0.0), 0.0, -drag_n
    state.turns_per_s = shaft.turns_per_s
    point = shaft.motor
    thrust_n = shaft.thrust_n * (1.0 - craft.propeller.thrust_deduction_fraction)
    works = (point.rpm, point.amps_a, point.volts_v, point.shaft_w)
    return state.throttle_w, works, shaft.propeller_w, thrust_n


def _settle(craft: Craft, state: State, amps: float, step_s: float) -> None:
    """Correct the charge of the previous step, now that the current at its end is known.

    It was drained at the current of its start; the mean of both gives the trapezoid rule.
    """
    if state.last_amps_a is not None:
        more_as = 0.5 * (amps - state.last_amps_a) * step_s
        state.charge_fraction -= more_as / 3600.0 / craft.battery.capacity_ah
    state.last_amps_a = amps


def _drain(craft: Craft, state: State, amps: float, grown: float, step_s: float) -> None:
    """Drain the pack by one step; advance its slow sags and temperature.

    `grown` is the factor of its resistances at present.
    """
    battery = craft.battery
    sag_v = state.slow_sag_v + state.slower_sag_v
    loss_w = amps * (amps * battery.resistance_ohm * grown + sag_v)
    state.charge_fraction -= amps * step_s / 3600.0 / battery.capacity_ah
    keep = math.exp(-step_s / battery.slow_time_s)
    state.slow_sag_v = keep * state.slow_sag_v + (1.0 - keep) * amps * (
        battery.slow_resistance_ohm * grown
    )
    if battery.slower_resistance_ohm:
        keep = math.exp(-step_s / battery.slower_time_s)
        settled_v = amps * battery.slower_resistance_ohm * grown
        state.slower_sag_v = keep * state.slower_sag_v + (1.0 - keep) * settled_v
    state.pack_degc += loss_w * step_s / battery.heat_capacity_jpk


def _warm(craft: Craft, state: State, lost_w: float, step_s: float) -> None:
    """Advance the drive's temperature by its loss."""
    settled_degc = craft.drive_idle_degc + craft.drive_degc_per_w * lost_w
    state.drive_degc += step_s / craft.drive_warm_s * (settled_degc - state.drive_degc)
