"""Frames sent to a daemon and missing from its record: those with a valid reason.

The reasons are stated only here; frames without one are the daemon's fault.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from tests.faults.soak_daemon import Run
from tests.faults.soak_record import Ledger
from tests.faults.soak_stream import NOBODY, Sent, Stream

KILL_TAIL_S = 1.0
"""Time before a SIGKILL whose frames may be lost [s]: the record is written about once a second."""

END_TAIL_S = 0.3
"""Time before a requested end whose frames may be in transit [s]."""

OPEN_S, PULL_S = 0.6, 0.6
"""Time of frames lost in a serial port's buffer when it is opened or unplugged [s]."""


@dataclass(frozen=True)
class Allowance:
    """A period in which frames may be missing, and why."""

    why: str
    begin_s: float
    end_s: float


class Explained:
    """Sorts missing frames by reason.

    Parameters
    ----------
    stream
        The frames sent, and those dropped by the kernel.
    runs
        All runs of the daemon.
    allowances
        Losses allowed to faults.
    """

    def __init__(
        self, stream: Stream, runs: dict[int, Run], allowances: Sequence[Allowance]
    ) -> None:
        self._stream, self._runs, self._allowances = stream, runs, allowances
        self.counts: Counter[str] = Counter()
        self.unexplained: list[int] = []
        self.expected = 0
        self.tails_s: list[float] = []
        """How much was missing at each SIGKILL [s]."""

    def judge(self, ledger: Ledger, begin: int, end: int) -> None:
        """Sort the frames from index `begin` to `end`."""
        sent = self._stream.sent
        dropped: Counter[int] = Counter()
        newest: dict[int, int] = {}
        for n in range(begin, end):
            if sent.run[n] == NOBODY:
                continue
            self.expected += 1
            if n in ledger.recorded:
                newest[sent.run[n]] = n
                continue
            why = self._why(n, sent, ledger, dropped)
            if why is None:
                self.unexplained.append(n)
            else:
                self.counts[why] += 1
        self._note_tails(newest)

    def _note_tails(self, newest: dict[int, int]) -> None:
        for number, n in newest.items():
            run = self._runs[number]
            if run.cause == "SIGKILL" and run.up_s and run.cause_s - run.up_s > 2 * KILL_TAIL_S:
                last_s = self._stream.newest_s(run.cause_s)
                if last_s is not None:
                    self.tails_s.append(max(last_s - self._stream.sent.at_s[n], 0.0))

    def _why(  # noqa: PLR0911 -- a reason a line
        self, n: int, sent: Sent, ledger: Ledger, dropped: Counter[int]
    ) -> str | None:
        at_s, run, tick = sent.at_s[n], self._runs[sent.run[n]], sent.tick[n]
        late_s = self._stream.late_most_s(at_s, min(run.cause_s, at_s + 60.0))
        tail_s = (END_TAIL_S if run.cause == "SIGTERM" else KILL_TAIL_S) + late_s
        if run.up_s is None or run.cause_s < run.up_s + KILL_TAIL_S + late_s:
            return "ended while it started"
        if at_s >= run.cause_s - tail_s:
            return f"the last {tail_s - late_s:g} s before {run.cause}"
        if run.cause is None and at_s >= run.ended_s - KILL_TAIL_S:
            return "ended by itself (told below)"
        if run.kind == "serial" and self._just_opened(n, sent):
            return "a serial port just opened"
        for one in self._allowances:
            if one.begin_s <= at_s <= one.end_s:
                return str(one)
        # The tick's own count of drops may be read in the tick that follows.
        drops = self._stream.truth.drops
        for place in (tick, tick + 1):
            if place < len(drops) and dropped[place] < drops[place]:
                dropped[place] += 1
                return "dropped by the kernel's full socket buffer"
        if any(sent.data[n] in frame for frame in ledger.swallowed):
            return "behind a header in junk that claimed it"
        return None

    @staticmethod
    def _just_opened(n: int, sent: Sent) -> bool:
        first = n
        while first > 0 and sent.run[first - 1] == sent.run[n]:
            if sent.at_s[n] - sent.at_s[first - 1] > OPEN_S:
                return False
            first -= 1
        return True
