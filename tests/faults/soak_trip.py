"""The trip that the feed shows, compared with the truth: time, energy, distance."""

import json
import subprocess
import sys
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise, product
from pathlib import Path
from typing import Any

from tests.faults.soak_daemon import ROOT, Run
from tests.faults.soak_record import Ledger, RecordContents
from tests.faults.soak_stream import Stream
from tests.faults.soak_viewer import value

ELAPSED_WITHIN_S = 2.5
RATIO_WITHIN = 0.015
ENERGY_WITHIN_WH, DISTANCE_WITHIN_M = 0.3, 8.0
"""Tolerances besides the ratio: about a second at either end, where figures await a sample."""

GAP_S = 1.0
GAP_SHARE = 1.2
"""Tolerated error in a gap, as a share of a straight line's: energy drawn there is unknowable."""


@dataclass
class Trip:
    """Possible starts of the trip; of several, each is acceptable until a restart decides.

    An autopilot that restarts while a daemon is up may or may not begin a trip; one that restarts
    while none is up begins one, and so does a viewer's mark. After part of the trip's record was
    removed, no start is known.
    """

    begins_s: list[float] = field(default_factory=list)
    checked: int = 0
    lost: int = 0
    worst: dict[str, float] = field(default_factory=dict)
    lost_s: float = 0.0

    def check(
        self, stream: Stream, ledger: Ledger, run: Run, snapshot: dict[str, Any], came_s: float
    ) -> list[str]:
        """Compare a snapshot with what was sent; return what is wrong.

        Parameters
        ----------
        stream, ledger
            The frames sent, and which of them were recorded.
        run
            The run of the daemon that shows it, which knows what it received, recorded or not.
        snapshot, came_s
            The snapshot, and its time of arrival.
        """
        sent, at_s = stream.sent, stream.truth.at_s
        recorded = {sent.tick[n] for n in ledger.recorded}
        own = {tick for tick, one in zip(sent.tick, sent.run, strict=False) if one == run.number}
        received_s = [at_s[tick] for tick in sorted(recorded | own)]
        trip = snapshot["trip"]
        elapsed_s = trip["elapsed_s"]
        newest = bisect_left(received_s, came_s) - 1
        if newest < 0 or not self.begins_s or elapsed_s is None:
            return []
        self.checked += 1
        within_s = ELAPSED_WITHIN_S + stream.late_most_s(came_s - 5, came_s)
        should = []
        # Frames in transit when the trip began belong to it or to the previous one.
        for border_s, way_s in product(self.begins_s, (0.3, 0.0, -0.3)):
            first = bisect_left(received_s, border_s - way_s)
            if first <= newest:
                should.append((border_s, received_s[newest] - received_s[first]))
        for border_s, wanted_s in should:
            if abs(wanted_s - elapsed_s) <= within_s:
                if all(run.began_s > begin_s + 3.0 for begin_s in self.begins_s):
                    self.begins_s = [border_s]
                begin_s = received_s[newest] - wanted_s
                kept_s = [at_s[tick] for tick in sorted(recorded)]
                return self._sums(stream, kept_s, trip, begin_s, begin_s + elapsed_s)
        if not should:
            return []
        all_wanted = sorted({round(one, 1) for _, one in should})
        wanted = " or ".join(str(one) for one in all_wanted)
        self.lost += 1
        self.lost_s += max(all_wanted[0] - elapsed_s, 0.0)
        self.begins_s = [received_s[newest] - elapsed_s]
        return [f"elapsed {elapsed_s:.1f} s, should be {wanted} s"]

    def _sums(
        self, stream: Stream, kept_s: Sequence[float], trip: dict, begin_s: float, end_s: float
    ) -> list[str]:
        true = stream.truth.between(begin_s, end_s)
        gaps = _gaps(stream, kept_s[bisect_left(kept_s, begin_s) : bisect_left(kept_s, end_s)])
        wrong = []
        for name, unit, right, gap, room in (
            ("energy_wh", "Wh", true[0], gaps[0], ENERGY_WITHIN_WH),
            ("distance_m", "m", true[1], gaps[1], DISTANCE_WITHIN_M),
        ):
            shown = value(trip[name])
            within = RATIO_WITHIN * right + GAP_SHARE * gap + room
            if shown is None:
                # A trip of a few seconds has no figures yet.
                if end_s - begin_s > 10.0:
                    why = trip.get("why", {}).get(name)
                    wrong.append(f"{name} unknown ({why}) after {end_s - begin_s:.0f} s")
                continue
            if end_s - begin_s > 60.0:
                off = abs(shown - right) / max(right, room)
                self.worst[name] = max(self.worst.get(name, 0.0), off)
            if abs(shown - right) > within:
                wrong.append(
                    f"{name} {shown:.2f} {unit}, should be {right:.2f} +- {within:.2f} "
                    f"over {end_s - begin_s:.0f} s"
                )
        return wrong


def _gaps(stream: Stream, kept_s: Sequence[float]) -> tuple[float, float]:
    """Return the error of straight lines over the gaps: energy [Wh] and distance [m]."""
    energy_wh = distance_m = 0.0
    for one_s, two_s in pairwise(kept_s):
        if two_s - one_s > GAP_S:
            before = stream.truth.between(one_s - 0.4, one_s)
            after = stream.truth.between(two_s, two_s + 0.4)
            true = stream.truth.between(one_s, two_s)
            span = (two_s - one_s) / 0.8
            energy_wh += abs((before[0] + after[0]) * span - true[0])
            distance_m += abs((before[1] + after[1]) * span - true[1])
    return energy_wh, distance_m


def joined(found: Sequence[RecordContents], first: int, into: Path) -> int:
    """Concatenate the records of a trip; return their number.

    Parameters
    ----------
    found
        All files.
    first
        Index of the trip's first frame among those sent.
    into
        The log to write.
    """
    parts = [one for one in found if one.first is not None and one.first >= first]
    parts.sort(key=lambda one: one.first or 0)
    with into.open("wb") as log:
        for one in parts:
            log.write(one.path.read_bytes())
    return len(parts)


def reviewed(log: Path, profile: Path) -> dict[str, Any] | str:
    """Return the trip from a review of a log, or the review's error."""
    done = subprocess.run(
        [
            *(sys.executable, "-m", "groundside", "review", str(log), "--json"),
            *("--profile", str(profile), "--system-id", "1"),
        ],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        return f"review ended with {done.returncode}: {done.stderr.strip()[-300:]}"
    return json.loads(done.stdout)["trip"]


def compared(shown: dict[str, Any], review: dict[str, Any]) -> tuple[list[str], dict[str, float]]:
    """Compare the feed's trip with the review's; return what is wrong, and the differences."""
    wrong, off = [], {}
    for name, room in (
        ("elapsed_s", 1.5),
        ("energy_wh", ENERGY_WITHIN_WH),
        ("distance_m", DISTANCE_WITHIN_M),
    ):
        one, two = value(shown[name]), value(review[name])
        if one is None or two is None:
            if (one is None) != (two is None):
                wrong.append(f"{name}: the feed says {one}, the review {two}")
            continue
        off[name] = one - two
        if abs(one - two) > 0.001 * two + room:
            wrong.append(f"{name}: the feed says {one:.3f}, the review {two:.3f}")
    return wrong, off
