"""Where the battery's power goes: drive, motor and shaft, by a first-order model of the motor.

Torque is (I - I0) / Kv, voltage n / Kv + I R: at the same current a motor gives the same torque and
takes more power the faster it turns. So a trial at constant motor current is meaningless.
"""

import math

from onboard.dataclass import dataclass
from onboard.efficiency.trial.trial_practice import DRIVE_EFFICIENCY_FRACTION
from onboard.profile import Drive


@dataclass(frozen=True)
class PowerSplit:
    """Battery power and its parts, which add up to it [W].

    Parameters
    ----------
    battery_w
        Total.
    drive_w
        Lost in the drive and its cables, and used by the rest of the craft.
    copper_w
        Lost in the motor's winding.
    no_load_w
        Lost in the motor's iron and bearings.
    shaft_w
        Delivered to the shaft.
    motor_amps_a
        Current of the motor.
    measured
        Whether the drive reported it; else it is derived, with 4 % lost in the drive.
    """

    battery_w: float
    drive_w: float
    copper_w: float
    no_load_w: float
    shaft_w: float
    motor_amps_a: float
    measured: bool

    @property
    def shaft_fraction(self) -> float:
        """Share that reaches the shaft."""
        return self.shaft_w / self.battery_w


def derived_motor_amps_a(power_w: float, rpm: float, drive: Drive) -> float:
    """Return the current at which the motor takes the battery's power; NaN without motor data.

    Parameters
    ----------
    power_w
        Battery power.
    rpm
        The motor's.
    drive
        Motor data: kv_rpm_per_v and phase_resistance_ohm.

    Examples
    --------
    >>> motor = Drive(kv_rpm_per_v=100.0, phase_resistance_ohm=0.05)
    >>> round(derived_motor_amps_a(345.0 / 0.96, 1000.0, motor), 3)
    30.0
    """
    kv, ohm = drive.kv_rpm_per_v, drive.phase_resistance_ohm
    if kv is None or ohm is None or not (power_w > 0 and rpm > 0):
        return math.nan
    back_v = rpm / kv
    return 2.0 * power_w * DRIVE_EFFICIENCY_FRACTION / (
        back_v + math.sqrt(back_v**2 + 4.0 * ohm * power_w * DRIVE_EFFICIENCY_FRACTION)
    )  # fmt: skip


def split(power_w: float, rpm: float, motor_amps_a: float, drive: Drive) -> PowerSplit | None:
    """Split battery power; None without revs or motor data.

    Parameters
    ----------
    power_w
        Battery power.
    rpm
        The motor's, NaN if unknown.
    motor_amps_a
        Its current, NaN where the drive does not report it.
    drive
        Motor data: kv_rpm_per_v, phase_resistance_ohm, no_load_a (none counts as zero).
    """
    kv, ohm = drive.kv_rpm_per_v, drive.phase_resistance_ohm
    measured = math.isfinite(motor_amps_a)
    amps = motor_amps_a if measured else derived_motor_amps_a(power_w, rpm, drive)
    if kv is None or ohm is None or not (math.isfinite(amps) and rpm > 0):
        return None
    back_v = rpm / kv
    copper = amps**2 * ohm
    no_load = min(drive.no_load_a or 0.0, amps) * back_v
    shaft = amps * back_v - no_load
    return PowerSplit(
        power_w, power_w - copper - no_load - shaft, copper, no_load, shaft, amps, measured
    )


def by_motor_fraction(a: PowerSplit, b: PowerSplit, slope: float) -> float:
    """Return the part of a's difference in Wh/km from b that is due to drive and motor.

    At equal battery power a larger shaft power means a higher speed, by the curve's slope; the rest
    of the difference is due to propeller and hull.

    Parameters
    ----------
    a, b
        Both splits.
    slope
        d ln speed / d ln power.
    """
    return float((b.shaft_fraction / a.shaft_fraction) ** slope) - 1.0
