"""Checks after each end of a daemon, and once more over everything at the end."""

import time
from typing import TYPE_CHECKING

from tests.faults.soak_daemon import Run
from tests.faults.soak_missing import Allowance, Explained
from tests.faults.soak_record import Ledger, RecordContents, record_files, taken_files
from tests.faults.soak_trip import Trip
from tests.faults.soak_viewer import Viewer

if TYPE_CHECKING:
    from tests.faults.soak_run import Soak

PAUSE_MOST_S = 3.0
UNKNOWN_MOST_S = 30.0
JUDGED_AFTER_S = 20.0
"""Time of running and receiving after which a daemon should know its trip [s]."""
END_MOST_S = 10.0
LEFT_RISES_MOST = 0.06
LEFT_LASTS_S = 20.0
SEEN_WITHIN_S = 10.0
"""Time after a fault within which a new alert is attributed to it [s]."""


class Judge:
    """Compares the records of daemons with what was sent."""

    def __init__(self, soak: "Soak") -> None:
        self._soak = soak
        self.ledger = Ledger(soak.stream.sent, soak.floods)
        self.allowances: list[Allowance] = []
        self.trip = Trip()
        self.taken = False
        """Whether part of the trip was taken from the record: only a new trip can be judged."""
        self.taken_run = 0
        """In which run of the daemon that was."""
        self.faults_begun: list[tuple[float, str]] = []
        """When each fault began."""
        self.silences: list[tuple[float, float]] = []
        """When nothing could be received."""
        self._read: set[str] = set()
        self.explained = self._new_explained()
        self._judged = 0
        self.charged_s = 0.0
        """When the pack was last marked as charged."""
        self.spoilt: set[str] = set()
        """Files that were cut: what is written behind the cut need not fit."""
        self._left: tuple[float, float] | None = None

    def _new_explained(self) -> Explained:
        return Explained(self._soak.stream, self._soak.runs, self.allowances)

    def began(self, run: Run) -> None:
        """Note that a daemon is up."""
        if not self.trip.begins_s and not self.taken:
            self.trip.begins_s = [run.began_s]

    def ended(self, run: Run, at_rest: bool = False) -> None:
        """Check an ended daemon: exit code, log, pauses, record, trip."""
        soak, score = self._soak, self._soak.score
        card = soak.card
        if card.full_s is not None or run.ended_s < card.room_s + 7.0:
            begin_s = (card.full_s or self._full_before_s()) - 1.5
            self.allow("ended while the card was full", begin_s, run.ended_s)
        self._check_end(run)
        if run.viewer is not None:
            self._check_feed(run, run.viewer)
        found = self._read_new()
        end = len(soak.stream.sent.tick)
        before = len(self.explained.unexplained)
        self.explained.judge(self.ledger, self._judged, end)
        self._judged = end
        self._report_missing(self.explained.unexplained[before:])
        for one in found:
            self._report_faulty(one)
        viewer = run.viewer
        if viewer is not None and viewer.last is not None and run.up_s is not None:
            received_s = soak.stream.newest_s(run.cause_s) or 0.0
            long_enough = at_rest or min(received_s, viewer.last_s) - run.up_s >= JUDGED_AFTER_S
            if long_enough and not (self.taken and run.number > self.taken_run):
                sees = run, viewer.last, viewer.last_s
                for text in self.trip.check(soak.stream, self.ledger, *sees):
                    score.fail("trip", f"run {run.number} ({self._before(viewer.last_s)}): {text}")

    def restarted_since_taken(self) -> bool:
        """Return whether a later daemon has read the rest of the trip's records."""
        run = self._soak.run
        return self.taken and run is not None and run.number > self.taken_run

    def allow(self, why: str, begin_s: float, end_s: float) -> None:
        self.allowances.append(Allowance(why, begin_s, end_s))

    def _full_before_s(self) -> float:
        return max((at for at, name in self.faults_begun if name == "card_full"), default=0.0)

    def _before(self, at_s: float, most: int = 4) -> str:
        """Return the names of the last faults before a time."""
        names = [name for begun_s, name in self.faults_begun if begun_s <= at_s]
        return "after " + ", ".join(names[-most:]) if names else "before any fault"

    def _check_end(self, run: Run) -> None:
        score, where = self._soak.score, f"run {run.number}"
        log = run.stderr()
        if "Traceback" in log or "Fatal Python error" in log:
            lines = log[log.find("Traceback") :].splitlines()[1:] or [log[-200:]]
            fault = next((line for line in lines if not line.startswith(" ")), lines[-1])
            score.fail("traceback", f"{where} ({self._before(run.ended_s)}): {fault[:200]}")
        if run.cause is None or run.ended_s < run.cause_s:
            text = f"{where} ({self._before(run.ended_s)}) with {run.code}: {log.strip()[-80:]!r}"
            score.fail("ended by itself", text)
        elif run.cause == "SIGTERM":
            score.ends_s.append(run.ended_s - run.cause_s)
            early = run.up_s is None and run.code in (-15, 130)
            if run.code != 0 and not early:
                score.fail("exit code", f"{where} ({self._before(run.cause_s)}): {run.code}")
            if run.ended_s - run.cause_s > END_MOST_S:
                took = f"took {run.ended_s - run.cause_s:.1f} s to end"
                score.fail("slow end", f"{where} ({self._before(run.cause_s)}): {took}")

    def _check_feed(self, run: Run, viewer: Viewer) -> None:
        score, stream = self._soak.score, self._soak.stream
        last_s = min(run.cause_s, run.ended_s)
        gaps = [*viewer.gaps, (last_s, max(viewer.silent_s(last_s), 0.0))]
        score.gaps_s += [gap_s for _, gap_s in gaps]
        for at_s, gap_s in gaps:
            if gap_s <= 1.0:
                continue
            where = f"in run {run.number} ({self._before(at_s, 2)})"
            score.slowest.append((gap_s, where))
            if gap_s > PAUSE_MOST_S + stream.late_most_s(at_s - gap_s, at_s):
                score.fail("feed paused", f"{gap_s:.1f} s {where}")
        if viewer.faulty_lines:
            score.fail("feed", f"run {run.number}: {viewer.faulty_lines} lines that are no JSON")
        for at_s, code in viewer.alerts:
            near = {name for begun, name in self.faults_begun if 0 <= at_s - begun <= SEEN_WITHIN_S}
            for name in near or {"nothing near"}:
                score.alerts[name][code] += 1
        for begin_s, end_s in viewer.unknown_power:
            end_s = min(end_s, last_s)  # noqa: PLW2901
            lasted_s = end_s - begin_s
            silent_s = sum(
                max(min(end_s, b + 3.0) - max(begin_s, a), 0.0) for a, b in self.silences
            )
            if lasted_s - silent_s > UNKNOWN_MOST_S:
                text = f"{lasted_s:.0f} s, run {run.number} ({self._before(begin_s, 6)})"
                score.fail("power unknown", text)
        self._check_charge(run, viewer, last_s)

    def _check_charge(self, run: Run, viewer: Viewer, last_s: float) -> None:
        """Fail if the charge left rises without charging, except briefly after a start."""
        ends_s = [at_s for at_s, _ in viewer.left[1:]] + [last_s]
        for (at_s, left), end_s in zip(viewer.left, ends_s, strict=False):
            if self._left is not None and self._left[0] < self.charged_s:
                self._left = None
            if self._left is not None and left - self._left[1] > LEFT_RISES_MOST:
                if end_s - at_s < LEFT_LASTS_S:
                    continue
                text = f"{self._left[1]:.2f} before, {left:.2f} in run {run.number}"
                self._soak.score.fail("charge rises", f"{text} ({self._before(at_s, 6)})")
            self._left = at_s, left

    def _read_new(self) -> list[RecordContents]:
        found = []
        for path in (*record_files(self._soak.record), *taken_files(self._soak.folder)):
            if str(path) not in self._read:
                self._read.add(str(path))
                found.append(self.ledger.read(path))
        return found

    def _report_missing(self, missing: list[int]) -> None:
        sent, groups = self._soak.stream.sent, []
        for n in missing:
            if groups and n - groups[-1][-1] < 50:
                groups[-1].append(n)
            else:
                groups.append([n])
        for group in groups:
            at_s, run = sent.at_s[group[0]], self._soak.runs[sent.run[group[0]]]
            lasts_s = sent.at_s[group[-1]] - at_s
            ends = f"{run.cause or 'the end'} {min(run.cause_s, run.ended_s) - at_s:.1f} s later"
            text = f"run {run.number} ({self._before(at_s)}): {len(group)} frames in {lasts_s:.1f}"
            self._soak.score.fail("missing from the record", f"{text} s, {ends}")

    def _report_faulty(self, one: RecordContents) -> None:
        score, name = self._soak.score, "/".join(one.path.parts[-2:])
        near = self._before(time.monotonic())
        if one.unknown:
            text = f"{len(one.unknown)} frames that nobody sent in {name} ({near})"
            score.fail("record", f"{text}, the first {one.unknown[0][:24].hex()}")
        if one.bad_bytes and str(one.path) not in self.spoilt:
            score.fail("record", f"{one.bad_bytes} bytes that are no record in {name} ({near})")
        if one.disorder:
            text = f"{one.disorder} frames twice or out of order in {name} ({near})"
            score.fail("record", text)
