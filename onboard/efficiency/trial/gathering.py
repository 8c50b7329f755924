"""From blocks to the seconds that a trial looks at, and steady stretches that tell the curve."""

import numpy as np

from onboard.block import Block, FloatArray
from onboard.efficiency.curve.steady import SteadyBlock, SteadyFinder
from onboard.efficiency.meters.slices import slices
from onboard.efficiency.sources.latest import Latest
from onboard.efficiency.sources.power_sources import PowerSources
from onboard.efficiency.sources.settled_seconds import SecondsCutter, SettledSeconds
from onboard.efficiency.sources.speed_sources import SpeedSources
from onboard.efficiency.trial.power_split import derived_motor_amps_a
from onboard.efficiency.trial.seconds import Seconds, motor_current
from onboard.profile import Profile

Samples = tuple[FloatArray, FloatArray]
"""Stream time [s] and value of each."""


class Gathering:
    """Folds the blocks of one log.

    Parameters
    ----------
    profile
        The craft: sensors are corrected by it, turns and motor current are had from its drive.
    """

    def __init__(self, profile: Profile) -> None:
        self._drive = profile.drive
        self._power = PowerSources(profile.sensors)
        self._speed = SpeedSources()
        self._maker = SecondsCutter(self._power, self._speed)
        self._latest = Latest()
        self._steady = SteadyFinder()
        self._cells: list[SettledSeconds] = []
        self._told: dict[tuple[str, str], list[Samples]] = {}
        self.steady: list[SteadyBlock] = []
        """Steady stretches, in stream time."""

    def fold(self, block: Block) -> None:
        """Take in a block."""
        for piece in slices(block):
            self._latest.fold(piece)
            self._power.fold(piece)
            self._speed.fold(piece)
            self._maker.fold(piece)
            self._listen(piece)
            self._settle(self._latest.now_s)

    def seconds(self) -> Seconds:
        """Return all seconds of the log; call it once, when all blocks were folded."""
        # What lies behind the newest sample is settled by nothing more coming.
        last_s = self._latest.now_s
        self._settle(last_s + 60.0)
        columns = {
            name: np.concatenate([np.empty(0), *(getattr(one, name) for one in self._cells)])
            for name in ("t_s", "power_w", "amps_a", "volts_v", "east_mps", "north_mps")
        }
        heard = columns["t_s"] < (0.0 if self._latest.first_s is None else last_s + 1.0)
        columns = {name: values[heard] for name, values in columns.items()}
        t_s, amps = columns["t_s"], columns["amps_a"]
        if self._speed.only_display:
            # No course comes with that speed: it is taken to go where the craft points.
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
        """Return what the drive says of its motor; NaN where it says nothing."""
        for name in ("amps_with_rpm_a", "amps_with_erpm_a"):
            reported = motor_current(self._mean("drive", name, t_s), amps)
            if np.isfinite(reported).any():
                return reported
        return np.full(len(t_s), np.nan)

    def _motor_amps_a(self, reported: FloatArray, power: FloatArray, rpm: FloatArray) -> FloatArray:
        """Return what the drive says of its motor; else what power and turns ask for."""
        if np.isfinite(reported).any():
            return reported
        derived = [
            derived_motor_amps_a(watts, turns, self._drive)
            for watts, turns in zip(power.tolist(), rpm.tolist(), strict=True)
        ]
        return np.array(derived, np.float64)

    def _settle(self, now_s: float) -> None:
        while seconds := self._maker.settled(self._latest.first_s or 0.0, now_s):
            self._cells.append(seconds)
            self.steady += self._steady.fold(seconds)

    def _listen(self, piece: Block) -> None:
        battery, drive = piece.get("battery"), piece.get("drive")
        if (hud := piece.get("hud")) is not None:
            heading = np.radians(hud["heading_deg"])
            self._tell("hud", "heading_sin", hud.t_s, np.sin(heading))
            self._tell("hud", "heading_cos", hud.t_s, np.cos(heading))
        if battery is not None:
            self._tell("battery", "temperature_degc", battery.t_s, battery["temperature_degc"])
        if drive is None:
            return
        for name in ("rpm", "erpm", "temperature_degc"):
            self._tell("drive", name, drive.t_s, drive[name])
        # Two kinds of message may tell a current each: of the motor, and of what goes in.
        for name, beside in (("amps_with_rpm_a", "rpm"), ("amps_with_erpm_a", "erpm")):
            amps = np.where(np.isfinite(drive[beside]), drive["amps_a"], np.nan)
            self._tell("drive", name, drive.t_s, amps)

    def _tell(self, channel: str, name: str, t_s: FloatArray, values: FloatArray) -> None:
        known = np.isfinite(values) & np.isfinite(t_s)
        if known.any():
            self._told.setdefault((channel, name), []).append((t_s[known], values[known]))

    def _mean(self, channel: str, name: str, t_s: FloatArray) -> FloatArray:
        """Return the mean of what was told in each second, shape (n,); NaN where nothing was."""
        told = self._told.get((channel, name))
        means = np.full(len(t_s), np.nan)
        if told is None or not len(t_s):
            return means
        when = np.concatenate([one[0] for one in told])
        values = np.concatenate([one[1] for one in told])
        place = np.ceil(when - t_s[0]).astype(np.int64)
        inside = (place >= 0) & (place < len(t_s))
        counts = np.bincount(place[inside], minlength=len(t_s))
        sums = np.bincount(place[inside], values[inside], minlength=len(t_s))
        heard = counts > 0
        means[heard] = sums[heard] / counts[heard]
        return means
