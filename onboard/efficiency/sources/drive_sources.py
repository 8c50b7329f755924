"""The motors that a craft's drives report, and which one is shown: the first that counts.

A motor counts once it is no longer brief, by the rules of `meters/source_rules.py`; readings of
a stray frame stop here. If the motor shown falls silent, its readings are unknown, and it is named,
until it is active again or marked as unplugged: another motor's revolutions would be mistaken for
its own.
"""

import numpy as np
import numpy.typing as npt

from onboard.block import Block, Channel, FloatArray, numbers_in
from onboard.contract.figure import Number, Unknown
from onboard.contract.reasons import Reason
from onboard.contract.refusals import Refusal, RefusalCode
from onboard.efficiency.common_practice import MOTORS_MOST, NOTICE_S, STALE_READING_S
from onboard.efficiency.meters.source_rules import Coverage, is_brief

Reading = tuple[float, float]
"""Stream time [s] and value."""


class DriveSources:
    """All motors that the stream reports."""

    def __init__(self) -> None:
        self._coverage: dict[int, Coverage] = {}
        self._readings: dict[int, dict[str, Reading]] = {}
        self._unplugged_s: dict[int, float] = {}

    def fold(self, block: Block) -> Block:
        """Fold a block's `drive` channel; return the block without motors that do not count.

        Whether a row counts depends only on the stream up to it.
        """
        drive = block.get("drive")
        if drive is None or not len(drive):
            return block
        motors = drive["motor"]
        numbers = numbers_in(motors)
        for number in numbers:
            if number in self._coverage or len(self._coverage) < MOTORS_MOST:
                mine = motors == number
                self._coverage.setdefault(number, Coverage()).fold(drive.t_s[mine])
        counts = self._counts(drive.t_s, motors, numbers)
        if not counts.all():
            channels = dict(block.channels)
            del channels["drive"]
            if counts.any():
                columns = {name: column[counts] for name, column in drive.columns.items()}
                channels["drive"] = drive = Channel(drive.t_s[counts], columns)
            block = Block(channels)
        for number in numbers if counts.any() else ():
            self._read(number, drive)
        return block

    def value(self, name: str, now_s: float) -> Number:
        """Return a reading of the motor shown.

        Parameters
        ----------
        name
            A column of `drive`.
        now_s
            Stream time, silence since the newest sample included [s].
        """
        shown = [number for number in sorted(self._readings) if number not in self._unplugged_s]
        if not shown:
            return Unknown(Reason.NO_DRIVE)
        number = shown[0]
        quiet_s = now_s - self._coverage[number].last_s
        if quiet_s > STALE_READING_S:
            return Unknown(Reason.MOTOR_QUIET, motor=number, age_s=quiet_s)
        reading = self._readings[number].get(name)
        if reading is None or now_s - reading[0] > STALE_READING_S:
            return Unknown(Reason.SAYS_UNKNOWN)
        return reading[1]

    def unplug(self, number: int, now_s: float) -> Refusal | None:
        """Leave a motor out until it is active again; return a refusal, None when done."""
        if number not in self._readings:
            return Refusal(RefusalCode.NEVER_HEARD, source=f"motor {number}")
        if now_s - self._coverage[number].last_s <= STALE_READING_S:
            return Refusal(RefusalCode.STILL_HEARD, source=f"motor {number}")
        self._unplugged_s[number] = now_s
        return None

    def brief(self, t_s: float) -> tuple[str, ...]:
        """Return the motors seen only briefly, and lately, as of a stream time [s]."""
        return tuple(
            f"motor {number}"
            for number, coverage in sorted(self._coverage.items())
            if self._is_brief(coverage, t_s) and 0 <= t_s - coverage.last_before(t_s) < NOTICE_S
        )

    def _counts(
        self, t_s: FloatArray, motors: FloatArray, numbers: list[int]
    ) -> npt.NDArray[np.bool_]:
        """Return a mask of the rows that count, shape (n,); row by row only with a new motor."""
        counts = np.isin(motors, list(self._coverage))
        if len(self._coverage) == 1 or all(
            self._coverage[n].established for n in numbers if n in self._coverage
        ):
            return counts
        for row in np.flatnonzero(counts).tolist():
            at_s = float(t_s[row])
            counts[row] = not self._is_brief(self._coverage[int(motors[row])], at_s)
        return counts

    def _is_brief(self, coverage: Coverage, at_s: float) -> bool:
        return is_brief(
            coverage.covered_s(at_s),
            lambda: max(other.covered_s(at_s) for other in self._coverage.values()),
        )

    def _read(self, number: int, drive: Channel) -> None:
        mine = np.flatnonzero(drive["motor"] == number)
        if not len(mine):
            return
        readings = self._readings.setdefault(number, {})
        self._unplugged_s.pop(number, None)
        for name, column in drive.columns.items():
            known = mine[np.isfinite(column[mine])]
            if len(known):
                readings[name] = float(drive.t_s[known[-1]]), float(column[known[-1]])
