"""The seconds of a log as a trial looks at them: the cells, with what the motor drive said."""

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray
from onboard.efficiency.common_practice import (
    INPUT_CURRENT_FRACTION,
    NEAR_INPUT_FRACTION,
    STEADY_SHARE_FRACTION,
)

LEAST_A = 1.0


@dataclass(frozen=True)
class Seconds:
    """Seconds in order; arrays of shape (n,), NaN where unknown.

    Parameters
    ----------
    t_s
        Time at the end of each second [s].
    power_w, amps_a, volts_v
        Battery side, means over the second, corrected.
    east_mps, north_mps
        Velocity over ground.
    pack_degc, drive_degc
        Temperatures of pack and motor drive.
    rpm
        The motor's.
    motor_amps_a
        Current of the motor behind its drive: as reported, else derived.
    reported_amps_a
        The same where the drive reports it.
    """

    t_s: FloatArray
    power_w: FloatArray
    amps_a: FloatArray
    volts_v: FloatArray
    east_mps: FloatArray
    north_mps: FloatArray
    pack_degc: FloatArray
    drive_degc: FloatArray
    rpm: FloatArray
    motor_amps_a: FloatArray
    reported_amps_a: FloatArray

    def __len__(self) -> int:
        """Return the number of seconds."""
        return len(self.t_s)

    def part(self, first: int, end: int) -> "Seconds":
        """Return the seconds from one place up to another."""
        return Seconds(*(getattr(self, field.name)[first:end] for field in fields(Seconds)))

    def where(self, wanted: npt.NDArray[np.bool_]) -> "Seconds":
        """Return the seconds that are wanted, shape (n,)."""
        return Seconds(*(getattr(self, field.name)[wanted] for field in fields(Seconds)))

    def between(self, start_s: float, end_s: float) -> "Seconds":
        """Return the seconds that lie wholly between two times [s]."""
        first = int(np.searchsorted(self.t_s, start_s + 1.0 - 1e-6))
        return self.part(first, int(np.searchsorted(self.t_s, end_s + 1e-6, side="right")))


def motor_current(drive_amps_a: FloatArray, battery_amps_a: FloatArray) -> FloatArray:
    """Return the motor's current where a drive reports it; NaN where it reports what goes in.

    Parameters
    ----------
    drive_amps_a, battery_amps_a
        By the drive and by the power monitor, in the same seconds, shape (n,) [A].

    Examples
    --------
    >>> motor_current(np.full(3, 30.0), np.full(3, 14.4)).tolist()
    [30.0, 30.0, 30.0]
    >>> motor_current(np.full(3, 14.5), np.full(3, 14.4)).tolist()
    [nan, nan, nan]
    """
    both = np.isfinite(drive_amps_a) & (battery_amps_a > LEAST_A)
    if not both.any():
        return np.full_like(drive_amps_a, np.nan)
    shares = battery_amps_a[both] / np.maximum(drive_amps_a[both], 1e-3)
    low, share, high = np.quantile(shares, (0.1, 0.5, 0.9)).tolist()
    is_steady = high - low < STEADY_SHARE_FRACTION * share
    is_motor = share < 1.0 - (NEAR_INPUT_FRACTION if is_steady else INPUT_CURRENT_FRACTION)
    return drive_amps_a.copy() if is_motor else np.full_like(drive_amps_a, np.nan)
