"""The motors that a craft's drives report, and which one is shown: the first that is heard.

A motor counts once it has been heard for more than brief, by the rules of `heard`; what a stray
frame says of another goes no further than here. Where the motor shown falls silent its readings are
unknown, and it is named, until it is heard again or said to be unplugged: another motor's
revolutions in their place would be taken for its own.
"""

import numpy as np
import numpy.typing as npt

from onboard.block import Block, Channel, FloatArray
from onboard.contract.figure import Number, Unknown
from onboard.contract.reasons import Reason
from onboard.contract.refusals import Refusal, RefusalCode
from onboard.efficiency.meters.source_rules import SAID_S, Heard, is_brief
from onboard.efficiency.sources.latest import STALE_S

MOTORS_MOST = 16
"""More motors than this on one craft is a fault in the stream."""

Reading = tuple[float, float]
"""Stream time [s] and value."""


class DriveSources:
    """All motors that the stream reports."""

    def __init__(self) -> None:
        self._heard: dict[int, Heard] = {}
        self._readings: dict[int, dict[str, Reading]] = {}
        self._unplugged_s: dict[int, float] = {}

    def passed(self, block: Block) -> Block:
        """Take in a block's `drive` channel; give the block without the motors that do not count.

        A row counts by what was heard up to it.
        """
        drive = block.get("drive")
        if drive is None or not len(drive):
            return block
        motors = drive["motor"]
        numbers = [int(number) for number in np.unique(motors[np.isfinite(motors)]).tolist()]
        for number in numbers:
            if number in self._heard or len(self._heard) < MOTORS_MOST:
                mine = motors == number
                self._heard.setdefault(number, Heard()).fold(drive.t_s[mine])
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
        """Return a reading of the motor that is shown.

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
        quiet_s = now_s - self._heard[number].last_s
        if quiet_s > STALE_S:
            return Unknown(Reason.MOTOR_QUIET, motor=number, age_s=quiet_s)
        reading = self._readings[number].get(name)
        if reading is None or now_s - reading[0] > STALE_S:
            return Unknown(Reason.SAYS_UNKNOWN)
        return reading[1]

    def unplug(self, number: int, now_s: float) -> Refusal | None:
        """Take a motor as gone until it is heard again; give why not, None when it was done."""
        if number not in self._readings:
            return Refusal(RefusalCode.NEVER_HEARD, source=f"motor {number}")
        if now_s - self._heard[number].last_s <= STALE_S:
            return Refusal(RefusalCode.STILL_HEARD, source=f"motor {number}")
        self._unplugged_s[number] = now_s
        return None

    def brief(self, t_s: float) -> tuple[str, ...]:
        """Return the motors that were heard only briefly up to a stream time, lately [s]."""
        most_s = max((one.covered_s(t_s) for one in self._heard.values()), default=0.0)
        return tuple(
            f"motor {number}"
            for number, heard in sorted(self._heard.items())
            if is_brief(heard.covered_s(t_s), most_s) and 0 <= t_s - heard.last_before(t_s) < SAID_S
        )

    def _counts(
        self, t_s: FloatArray, motors: FloatArray, numbers: list[int]
    ) -> npt.NDArray[np.bool_]:
        """Tell which rows count, shape (n,); one by one only while some motor is new."""
        counts = np.isin(motors, list(self._heard))
        if len(self._heard) == 1 or all(self._heard[n].well for n in numbers if n in self._heard):
            return counts
        for row in np.flatnonzero(counts).tolist():
            at_s = float(t_s[row])
            most_s = max(heard.covered_s(at_s) for heard in self._heard.values())
            counts[row] = not is_brief(self._heard[int(motors[row])].covered_s(at_s), most_s)
        return counts

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
