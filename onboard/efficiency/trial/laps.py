"""Laps of a log: circuits of a closed course at held power.

A round, which may prove to be a lap, ends where the path over ground comes back to the place and
the course at which it began, having turned once. Round a closed course in a steady water current c
the speed over ground is that through the water but for terms of (c / v)^2, because the current's
components along the course sum to nothing.

Paths are integrals of velocities: a receiver's noise makes them drift by about a metre in five
minutes. Of all rounds that close, as many are taken as fit without overlap, and of those the ones
that close best: where on the course a lap begins is of no consequence.

A there-and-back along one line, its turns ridden at power, closes as well. It is left to the
straight runs: it is thin, and most of it is along one axis. An oval is not, up to straights of six
times its width.
"""

import itertools
import math
from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray
from onboard.dataclass import dataclass
from onboard.efficiency.meters.steadiness import (
    COURSE_SLOWEST_MPS,
    LAP_ALIKE_FRACTION,
    LAP_COURSE_DEG,
    LAP_GAP_FRACTION,
    LAP_HELD_SHARE,
    LAP_LEAST_MARKED_S,
    LAP_LEAST_S,
    LAP_NEARLY_FRACTION,
    LAP_NEARLY_MARKED_FRACTION,
    LAP_SINGLE_OF_ALL_SHARE,
    LAP_SINGLE_SHARE,
)
from onboard.efficiency.trial.held_parts import Part, held_parts, joined, marked_parts
from onboard.efficiency.trial.path import LAP_SWING_FRACTION, SMOOTH_S, Path, Places
from onboard.efficiency.trial.seconds import Seconds

PLACES_MOST = 400
"""Most places of a path between which rounds are sought at first: of 20 minutes, every third
second. The ends are then found to the second."""

LAST_MARK_RAD, TURNED_MOST_RAD = 1.25 * math.pi, 2.5 * math.pi
"""Least and largest turn of a round that ends on another course than it began on: a triangle from
corner to corner turns by 240 degrees."""

SHORT_LEAST_RAD = math.radians(100.0)
"""Least turn of a lap that was cut short: two sides of a triangle turn by 120 degrees, an L by
90."""

POOR_COST = 0.3
"""Cost of the largest gap, in laps: two laps that close are better than one that closes well."""

Round = tuple[int, int]
"""First second of a round, and the one after its last."""


@dataclass(frozen=True)
class NoLap:
    """A round that is nearly a lap.

    Parameters
    ----------
    start_s
        Its start in stream time [s].
    missing_fraction
        Share of the course that was not ridden; None if it closed.
    swing_fraction
        Relative standard deviation of its power; None if that was held.
    """

    start_s: float
    missing_fraction: float | None = None
    swing_fraction: float | None = None


@dataclass(frozen=True)
class LapsFound:
    """Laps in order of time, and rounds that are nearly one."""

    laps: list[Seconds]
    no_laps: list[NoLap]


def laps_in(seconds: Seconds, *, marked: bool, thin: bool = False) -> LapsFound:
    """Find the laps.

    Parameters
    ----------
    seconds
        A log, or a marked part of it.
    marked
        Whether the rider marked it as a run: then it may be as short as a run, and begin and end on
        any course.
    thin
        Whether a there-and-back along one line counts as a round.
    """
    seconds = seconds.where(np.isfinite(seconds.power_w) & np.isfinite(seconds.east_mps))
    if len(seconds) < LAP_LEAST_MARKED_S:
        return LapsFound([], [])
    return _Search(seconds, marked, thin).found()


class _Search:
    """A search of one path."""

    def __init__(self, seconds: Seconds, marked: bool, thin: bool) -> None:
        self.path, self.marked, self.thin = Path(seconds), marked, thin
        self.least_s = LAP_LEAST_MARKED_S if marked else LAP_LEAST_S

    def found(self) -> LapsFound:
        """Return what there is."""
        parts = list(marked_parts(self.path) if self.marked else held_parts(self.path))
        rounds = [one for part in parts for one in self._rounds(part)]
        if not (self.marked or self.thin):
            rounds = self._meant(rounds)
        held = [one for one in rounds if self._is_held(*one)]
        if self.marked:
            no_laps = [
                NoLap(float(self.path.t_s[i]), swing_fraction=self._swing(i, j))
                for i, j in rounds
                if (i, j) not in held
            ]
        else:
            no_laps = list(self._swung(parts, held))
        if not held and not no_laps:
            no_laps = [one for part in parts for one in self._cut_short(part)]
        return LapsFound([self.path.seconds.part(i, j) for i, j in held], no_laps)

    def _rounds(self, part: Part) -> list[Round]:
        """Return the rounds of a part."""
        if part.end - part.first < self.least_s / 2.0:
            return []
        path, places = self.path, _places(part)
        like = path.like_courses(places, LAP_COURSE_DEG)
        # Where a part ends, a round may end on another course: at its first and last mark.
        turned = np.abs(path.turned(places, places[-1:]))
        like[:, -1] |= (turned >= LAST_MARK_RAD) & (turned <= TURNED_MOST_RAD)
        like[0, -1] |= self.marked
        starts, ends = np.nonzero(np.triu(like, 1))
        i, j = places[starts], places[ends]
        # A lap from a standing start lacks what was covered while settling.
        most_m = LAP_GAP_FRACTION * path.length_m(i, j)
        most_m += np.where(i < part.first + SMOOTH_S, part.settling_m, 0.0)
        gap = path.gap_m(i, j) / np.maximum(most_m, 1e-9)
        good = (gap <= 1.0) & path.is_known(i, j)
        lasts_s = path.lasts_s(i, j)
        good &= (lasts_s >= self.least_s) & (path.length_m(i, j) > COURSE_SLOWEST_MPS * lasts_s)
        if not self.thin:
            good &= ~path.is_line(i, j)
        rounds = _most(i[good], j[good], gap[good])
        return list(self._refined(rounds, int(places[1] - places[0]), part.end))

    def _meant(self, rounds: list[Round]) -> list[Round]:
        """Return the rounds that were ridden on purpose: repeated, or most of what was ridden."""
        ends = np.array(rounds, np.int64).reshape(-1, 2).T
        length_m, area_m2 = self.path.length_m(*ends), self.path.area_m2(*ends)
        alike = np.abs(np.log(length_m[:, None] / length_m)) < LAP_ALIKE_FRACTION
        repeated = (alike & (area_m2[:, None] * area_m2 > 0.0)).sum(axis=1) > 1
        return [
            one
            for one, again in zip(rounds, repeated.tolist(), strict=True)
            if again or self._is_most(*one)
        ]

    def _is_most(self, i: int, j: int) -> bool:
        """Return whether a round is much of the time under way, and most of that at its power."""
        level = self.path.at_level(float(np.median(self.path.brief_w[i:j])))
        at_power, under_way = int((level & self.path.moves).sum()), int(self.path.moves.sum())
        least = max(LAP_SINGLE_SHARE * at_power, LAP_SINGLE_OF_ALL_SHARE * under_way)
        return self.thin or j - i > least

    def _refined(self, rounds: list[Round], stride: int, b: int) -> Iterator[Round]:
        """Yield rounds whose ends are found to the second."""
        for n, (i, j) in enumerate(rounds):
            limit = rounds[n + 1][0] if n + 1 < len(rounds) else b
            yield i, self.path.end_in(i, j - stride + 1, min(j + stride - 1, limit))

    def _is_held(self, i: int, j: int) -> bool:
        """Return whether power was held; near the ends, a change belongs to what adjoins."""
        inside = self.path.changes[i + SMOOTH_S : j - SMOOTH_S]
        return self._swing(i, j) <= LAP_SWING_FRACTION and not inside.any()

    def _swing(self, i: int, j: int) -> float:
        return float(self.path.swing(np.array([i]), np.array([j]))[0])

    def _swung(self, parts: list[Part], laps: list[Round]) -> Iterator[NoLap]:
        """Yield rounds through which power was not held: between laps and like them.

        Without laps, those through most of which it was.
        """
        lengths = [self._length_m(*one) for one in laps]
        for part in self._between(laps) if laps else joined(self.path, parts):
            for i, j in self._rounds(part):
                if self._is_held(i, j):
                    continue
                if laps:
                    off = self._length_m(i, j) / float(np.median(lengths)) - 1.0
                    is_nearly = abs(off) < LAP_ALIKE_FRACTION
                else:
                    level = self.path.at_level(float(np.median(self.path.brief_w[i:j])))
                    share = float(level[i:j].mean())
                    is_nearly = share > LAP_HELD_SHARE and self._is_most(i, j)
                if is_nearly:
                    yield NoLap(float(self.path.t_s[i]), swing_fraction=self._swing(i, j))

    def _between(self, laps: list[Round]) -> Iterator[Part]:
        for first, end in self.path.whole:
            inside = [one for one in laps if first <= one[0] < end]
            edges = [first, *itertools.chain.from_iterable(inside), end]
            yield from itertools.starmap(Part, zip(edges[::2], edges[1::2], strict=True))

    def _length_m(self, i: int, j: int) -> float:
        return float(self.path.length_m(np.array([i]), np.array([j]))[0])

    def _cut_short(self, part: Part) -> Iterator[NoLap]:
        """Yield the round that most nearly closed."""
        path = self.path
        if part.end - part.first < self.least_s:
            return
        if self.marked:
            i, j = np.array([part.first]), np.array([part.end])
            good = np.abs(path.turned(i, j)) >= SHORT_LEAST_RAD
            nearly = LAP_NEARLY_MARKED_FRACTION
        else:
            places = _places(part)
            starts, ends = np.nonzero(np.triu(path.like_courses(places, 120.0), 1))
            i, j = places[starts], places[ends]
            good = path.lasts_s(i, j) >= self.least_s
            nearly = LAP_NEARLY_FRACTION
        missing = path.gap_m(i, j) / np.maximum(path.gap_m(i, j) + path.length_m(i, j), 1e-9)
        good &= (missing <= nearly) & ~path.is_thin(i, j) & path.is_known(i, j)
        if not good.any():
            return
        n = int(np.argmin(np.where(good, missing, np.inf)))
        if self.marked or self._is_most(int(i[n]), int(j[n])):
            yield NoLap(float(path.t_s[i[n]]), missing_fraction=float(missing[n]))


def _places(part: Part) -> Places:
    """Return places evenly spaced that end where a part does."""
    stride = max(-(-(part.end - part.first) // PLACES_MOST), 1)
    return np.arange(part.end, part.first - 1, -stride)[::-1]


def _most(starts: Places, ends: Places, gap: FloatArray) -> list[Round]:
    """Return as many rounds as do not overlap, with the smallest gaps: interval scheduling.

    Parameters
    ----------
    starts, ends
        Of the rounds to choose from, shape (n,).
    gap
        Their gaps, as shares of the largest allowed.
    """
    # From each start the one that closes best, and the first, which leaves most to those after it.
    some = np.union1d(_first_of_each(starts, gap), _first_of_each(starts, ends))
    some = some[np.argsort(starts[some], kind="stable")]
    starts, ends = starts[some], ends[some]
    worth = (1.0 - POOR_COST * gap[some] ** 2).tolist()
    after = np.searchsorted(starts, ends).tolist()
    total, taken = [0.0] * (len(starts) + 1), [False] * len(starts)
    for n in range(len(starts) - 1, -1, -1):
        with_it = worth[n] + total[after[n]]
        taken[n] = with_it >= total[n + 1]
        total[n] = max(with_it, total[n + 1])
    chosen, n = [], 0
    while n < len(starts):
        if taken[n]:
            chosen.append((int(starts[n]), int(ends[n])))
        n = after[n] if taken[n] else n + 1
    return chosen


def _first_of_each(starts: Places, by: npt.NDArray[np.generic]) -> Places:
    """Return the indexes of the smallest value of each start."""
    order = np.lexsort((by, starts))
    return order[np.flatnonzero(np.diff(starts[order], prepend=-1))]
