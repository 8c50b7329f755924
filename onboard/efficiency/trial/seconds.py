"""The seconds of a log, as a trial uses them: settled seconds with the motor drive's readings."""

from dataclasses import fields

import numpy as np
import numpy.typing as npt

from onboard.block import Block, FloatArray
from onboard.dataclass import dataclass
from onboard.efficiency.curve.steady import SteadyBlock, SteadyFinder
from onboard.efficiency.meters.slices import slices
from onboard.efficiency.sources.latest import Latest
from onboard.efficiency.sources.power_sources import PowerSources
from onboard.efficiency.sources.settled_seconds import SecondsCutter, SettledSeconds
from onboard.efficiency.sources.speed_sources import SpeedSources
from onboard.efficiency.trial.power_split import derived_motor_amps_a
from onboard.efficiency.trial.trial_practice import (
    INPUT_CURRENT_FRACTION,
    NEAR_INPUT_FRACTION,
    STEADY_SHARE_FRACTION,
)
from onboard.profile import Profile

Samples = tuple[FloatArray, FloatArray]
"""Stream time [s] and value of each."""

LEAST_A = 1.0
"""Battery current above which the ratio to the drive's current is meaningful [A]."""


@dataclass(frozen=True)
class Seconds:
    """Seconds in order; arrays of shape (n,), NaN if unknown.

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
        """Return the seconds from index `first` up to `end`, exclusive."""
        return Seconds(*(getattr(self, field.name)[first:end] for field in fields(Seconds)))

    def where(self, wanted: npt.NDArray[np.bool_]) -> "Seconds":
        """Return the seconds selected, shape (n,)."""
        return Seconds(*(getattr(self, field.name)[wanted] for field in fields(Seconds)))

    def between(self, start_s: float, end_s: float) -> "Seconds":
        """Return the seconds that lie wholly between two times [s]."""
        first = int(np.searchsorted(self.t_s, start_s + 1.0 - 1e-6))
        return self.part(first, int(np.searchsorted(self.t_s, end_s + 1e-6, side="right")))


def motor_current(drive_amps_a: FloatArray, battery_amps_a: FloatArray) -> FloatArray:
    """Return the motor's current where a drive reports it; NaN where it reports its input current.

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


class LogSeconds:
    """Fold the blocks of one log into its seconds and steady stretches.

    Parameters
    ----------
    profile
        The craft: corrections of the sensors, and its drive for revs and motor current.
    """

    def __init__(self, profile: Profile) -> None:
        self._drive = profile.drive
        self._power = PowerSources(profile.sensors)
        self._speed = SpeedSources()
        self._maker = SecondsCutter(self._power, self._speed)
        self._latest = Latest()
        self._steady = SteadyFinder()
        self._settled: list[SettledSeconds] = []
        self._readings: dict[tuple[str, str], list[Samples]] = {}
        self.steady: list[SteadyBlock] = []
        """Steady stretches, in stream time."""

    def fold(self, block: Block) -> None:
        """Fold in a block."""
        for piece in slices(block):
            self._latest.fold(piece)
            self._power.fold(piece)
            self._speed.fold(piece)
            self._maker.fold(piece)
            self._keep_readings(piece)
            self._settle(self._latest.now_s)

    def seconds(self, *, ended: bool = True) -> Seconds:
        """Return all seconds of the log; once it has ended, none may be folded any more.

        Parameters
        ----------
        ended
            Whether the log has ended; else those seconds that have settled.
        """
        last_s = self._latest.now_s
        if ended:
            # The last seconds settle as if a minute had passed.
            self._settle(last_s + 60.0)
        columns = {
            name: np.concatenate(
                [np.empty(0), *(getattr(seconds, name) for seconds in self._settled)]
            )
            for name in ("t_s", "power_w", "amps_a", "volts_v", "east_mps", "north_mps")
        }
        in_log = columns["t_s"] < (0.0 if self._latest.first_s is None else last_s + 1.0)
        columns = {name: values[in_log] for name, values in columns.items()}
        t_s, amps = columns["t_s"], columns["amps_a"]
        if self._speed.only_display:
            # The display speed has no course: the craft is assumed to move along its heading.
            speed = np.hypot(columns["east_mps"], columns["north_mps"])
            east, north = (self._mean("hud", name, t_s) for name in ("heading_sin", "heading_cos"))
            size = np.maximum(np.hypot(east, north), 1e-9)
            columns |= {"east_mps": speed * east / size, "north_mps": speed * north / size}
        rpm = self._mean("drive", "rpm", t_s)
        erpm = self._mean("drive", "erpm", t_s)
        pairs = self._drive.pole_pairs
        if pairs:
            rpm = np.where(np.isfinite(rpm), rpm, erpm / pairs)
        reported = self._reported_amps_a(t_s, amps)
        return Seconds(
            **columns,
            pack_degc=self._mean("battery", "temperature_degc", t_s),
            drive_degc=self._mean("drive", "temperature_degc", t_s),
            rpm=rpm,
            motor_amps_a=self._motor_amps_a(reported, columns["power_w"], rpm),
            reported_amps_a=reported,
        )

    def _reported_amps_a(self, t_s: FloatArray, amps: FloatArray) -> FloatArray:
        """Return the motor's current as reported by the drive; NaN without."""
        for name in ("amps_with_rpm_a", "amps_with_erpm_a"):
            reported = motor_current(self._mean("drive", name, t_s), amps)
            if np.isfinite(reported).any():
                return reported
        return np.full(len(t_s), np.nan)

    def _motor_amps_a(self, reported: FloatArray, power: FloatArray, rpm: FloatArray) -> FloatArray:
        """Return the motor's current as reported, else derived from power and revs."""
        if np.isfinite(reported).any():
            return reported
        derived = [
            derived_motor_amps_a(watts, turns, self._drive)
            for watts, turns in zip(power.tolist(), rpm.tolist(), strict=True)
        ]
        return np.array(derived, np.float64)

    def _settle(self, now_s: float) -> None:
        while seconds := self._maker.settled(self._latest.first_s or 0.0, now_s):
            self._settled.append(seconds)
            self.steady += self._steady.fold(seconds)

    def _keep_readings(self, piece: Block) -> None:
        battery, drive = piece.get("battery"), piece.get("drive")
        if (hud := piece.get("hud")) is not None:
            heading = np.radians(hud["heading_deg"])
            self._keep("hud", "heading_sin", hud.t_s, np.sin(heading))
            self._keep("hud", "heading_cos", hud.t_s, np.cos(heading))
        if battery is not None:
            self._keep("battery", "temperature_degc", battery.t_s, battery["temperature_degc"])
        if drive is None:
            return
        for name in ("rpm", "erpm", "temperature_degc"):
            self._keep("drive", name, drive.t_s, drive[name])
        # Two kinds of message may report a current each: the motor's, and the drive's input.
        for name, beside in (("amps_with_rpm_a", "rpm"), ("amps_with_erpm_a", "erpm")):
            amps = np.where(np.isfinite(drive[beside]), drive["amps_a"], np.nan)
            self._keep("drive", name, drive.t_s, amps)

    def _keep(self, channel: str, name: str, t_s: FloatArray, values: FloatArray) -> None:
        known = np.isfinite(values) & np.isfinite(t_s)
        if known.any():
            self._readings.setdefault((channel, name), []).append((t_s[known], values[known]))

    def _mean(self, channel: str, name: str, t_s: FloatArray) -> FloatArray:
        """Return the mean reading in each second, shape (n,); NaN without one."""
        readings = self._readings.get((channel, name))
        means = np.full(len(t_s), np.nan)
        if readings is None or not len(t_s):
            return means
        when = np.concatenate([reading[0] for reading in readings])
        values = np.concatenate([reading[1] for reading in readings])
        place = np.ceil(when - t_s[0]).astype(np.int64)
        inside = (place >= 0) & (place < len(t_s))
        counts = np.bincount(place[inside], minlength=len(t_s))
        sums = np.bincount(place[inside], values[inside], minlength=len(t_s))
        known = counts > 0
        means[known] = sums[known] / counts[known]
        return means
