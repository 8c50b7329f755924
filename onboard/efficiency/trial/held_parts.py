"""The parts of a path at one power, settled: laps are sought within them.

A change of power shows some seconds before and after it in means over ten seconds. Where a part
begins and ends is therefore told by means over three.
"""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from onboard.efficiency.meters.steadiness import (
    LAP_HELD_SHARE,
    LAP_SETTLE_S,
    LAP_SETTLED_FRACTION,
)
from onboard.efficiency.trial.path import SMOOTH_S, Path


class Part(NamedTuple):
    """A part of a path.

    Parameters
    ----------
    first, end
        Its first place, and its last.
    settling_m
        Length of the settling before it, from where the power was reached [m].
    """

    first: int
    end: int
    settling_m: float = 0.0


def marked_parts(path: Path) -> Iterator[Part]:
    """Yield what was marked, without a start from rest and easing off at the end."""
    for first, end in path.whole:
        near = path.at_level(float(np.median(path.brief_w[first:end])))
        places = np.flatnonzero(near[first:end]) + first
        if len(places):
            yield _settled(path, int(places[0]), int(places[-1]) + 1)


def held_parts(path: Path) -> Iterator[Part]:
    """Yield the parts through which power was held, on the move."""
    steady = ~path.changes & path.moves
    for first, end in path.whole:
        edges = np.flatnonzero(np.diff(steady[first:end], prepend=False, append=False)) + first
        for begin, stop in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
            if stop - begin < 2 * SMOOTH_S:
                continue
            away = ~path.at_level(float(path.seconds.power_w[begin:stop].mean()))
            low, high = max(begin - SMOOTH_S, first), min(stop + SMOOTH_S, end)
            before = np.flatnonzero(away[low : begin + SMOOTH_S])
            after = np.flatnonzero(away[stop - SMOOTH_S : high])
            start = low + int(before[-1]) + 1 if len(before) else low
            over = stop - SMOOTH_S + int(after[0]) if len(after) else high
            yield _settled(path, start, over)


def joined(path: Path, parts: list[Part]) -> Iterator[Part]:
    """Yield the parts at the power of the longest, with what lies between them."""
    if not parts:
        return
    longest = max(parts, key=lambda one: one.end - one.first)
    inside = slice(longest.first, longest.end)
    level = path.at_level(float(path.seconds.power_w[inside].mean()))
    like = [one for one in parts if level[one.first : one.end].mean() > LAP_HELD_SHARE]
    for first, end in path.whole:
        several = [one for one in like if first <= one.first < end]
        if len(several) > 1:
            yield Part(several[0].first, several[-1].end, several[0].settling_m)


def _settled(path: Path, start: int, over: int) -> Part:
    """Return a part from where its speed is that of the time after, or where it must be."""
    end = start + LAP_SETTLE_S
    if over - end < LAP_SETTLE_S:
        return Part(start, over)
    # Without the water's part along the course, which differs round a lap by more than settling.
    speed, course = path.smooth_mps[start:over], path.course[start:over]
    by_course = np.column_stack([np.ones(len(speed)), np.sin(course), np.cos(course)])
    after = slice(LAP_SETTLE_S, None)
    usual_mps, *water_mps = np.linalg.lstsq(by_course[after], speed[after])[0]
    through_mps = speed - by_course[:, 1:] @ water_mps
    there = through_mps[:LAP_SETTLE_S] >= (1.0 - LAP_SETTLED_FRACTION) * usual_mps
    settled = start + int(np.argmax(there)) if there.any() else end
    return Part(settled, over, float(path.length_m(np.array([start]), np.array([settled]))[0]))
