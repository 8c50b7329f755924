"""The motor (first order: copper loss and a constant no-load current), its drive, and its shaft.

The shaft is taken as quasi-steady: a small propeller follows its motor within a tenth of a second.
"""

import math
from dataclasses import dataclass

from tests.craft.propeller import Propeller, thrust_n, torque_and_slope


@dataclass(frozen=True)
class Motor:
    """A motor with its drive and gear."""

    kv_rpm_per_v: float
    resistance_ohm: float
    no_load_a: float
    pole_pairs: int
    gear_ratio: float = 1.0
    """Motor turns per propeller turn."""
    gear_efficiency_fraction: float = 1.0
    drive_efficiency_fraction: float = 0.96


@dataclass(frozen=True)
class MotorPoint:
    """Operating point of the motor."""

    rpm: float
    amps_a: float
    volts_v: float
    power_w: float
    """Electrical power into the motor, after its drive."""
    shaft_w: float


@dataclass(frozen=True)
class ShaftPoint:
    """Operating point of motor and propeller."""

    motor: MotorPoint
    turns_per_s: float
    """Of the propeller."""
    thrust_n: float
    propeller_w: float
    """Power absorbed by the propeller."""


def motor_point(motor: Motor, rpm: float, torque_nm: float) -> MotorPoint:
    """Return currents, voltages and powers of the motor at a shaft speed and torque."""
    newton_metres_per_amp = 60.0 / (2.0 * math.pi * motor.kv_rpm_per_v)
    amps = torque_nm / newton_metres_per_amp + motor.no_load_a
    volts = rpm / motor.kv_rpm_per_v + amps * motor.resistance_ohm
    return MotorPoint(rpm, amps, volts, volts * amps, torque_nm * rpm * 2.0 * math.pi / 60.0)


def shaft_point(
    motor: Motor,
    propeller: Propeller,
    drive_input_w: float,
    advance_mps: float,
    *,
    density_kgpm3: float,
    guess_turns_per_s: float,
) -> ShaftPoint | None:
    """Return the point at which the motor takes exactly the power that the drive passes on.

    None if that power does not drive the propeller: it would only spin in the passing water.
    """
    return _solved(
        motor,
        propeller,
        "power",
        drive_input_w * motor.drive_efficiency_fraction,
        advance_mps,
        density_kgpm3,
        guess_turns_per_s,
    )


def throttled_point(
    motor: Motor,
    propeller: Propeller,
    advance_mps: float,
    *,
    volts_v: float | None = None,
    amps_a: float | None = None,
    density_kgpm3: float,
    guess_turns_per_s: float,
) -> ShaftPoint | None:
    """Return the point at a motor voltage, or else at a motor current; None as in `shaft_point`."""
    if volts_v is not None:
        held, wanted = "volts", volts_v
    else:
        held, wanted = "amps", amps_a or 0.0
    return _solved(motor, propeller, held, wanted, advance_mps, density_kgpm3, guess_turns_per_s)


def _solved(  # noqa: PLR0917
    motor: Motor,
    propeller: Propeller,
    held: str,
    wanted: float,
    advance_mps: float,
    density_kgpm3: float,
    guess_turns_per_s: float,
) -> ShaftPoint | None:
    """Return the point at which the motor's power, voltage or current is as wanted, by Newton."""
    turns = max(guess_turns_per_s, _free_turns(propeller, advance_mps), 0.5)
    per_turn = 60.0 * motor.gear_ratio
    divisor = motor.gear_ratio * motor.gear_efficiency_fraction
    amps_per_nm = 2.0 * math.pi * motor.kv_rpm_per_v / 60.0
    for _ in range(40):
        torque, slope = torque_and_slope(propeller, turns, advance_mps, density_kgpm3)
        point = motor_point(motor, turns * per_turn, torque / divisor)
        amps_slope = slope / divisor * amps_per_nm
        volts_slope = per_turn / motor.kv_rpm_per_v + amps_slope * motor.resistance_ohm
        if held == "power":
            step = (point.power_w - wanted) / (
                volts_slope * point.amps_a + amps_slope * point.volts_v
            )
        elif held == "volts":
            step = (point.volts_v - wanted) / volts_slope
        else:
            step = (point.amps_a - wanted) / amps_slope
        if abs(step) < 1e-10 * turns:
            break
        # A step may shrink the turns by half at most: the curve is steep near zero.
        turns = max(turns - step, 0.5 * turns)
    if torque <= 0.0 or point.amps_a <= motor.no_load_a:
        return None
    return ShaftPoint(
        point,
        turns,
        thrust_n(propeller, turns, advance_mps, density_kgpm3),
        torque * 2.0 * math.pi * turns,
    )


def _free_turns(propeller: Propeller, advance_mps: float) -> float:
    """Return turns that surely load the propeller: the pitch advances faster than the water."""
    return max(advance_mps, 0.0) / (propeller.diameter_m * propeller.pitch_ratio)
