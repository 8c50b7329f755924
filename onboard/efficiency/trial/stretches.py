"""Straight stretches of a log, which can be legs of a trial.

A run is a stretch on one heading, steady from its first second on; turns and the settling after
them belong to no run (ITTC 7.5-04-01-01.1, definitions; Tupper, Introduction to Naval Architecture,
pp. 243-244).
"""

import itertools
from collections.abc import Iterable, Iterator

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray
from onboard.efficiency.meters.steadiness import (
    COURSE_SLOWEST_MPS,
    STRAY_DEG,
    STRETCH_GAP_S,
    STRETCH_LEAST_MARKED_S,
    STRETCH_LEAST_S,
    STRETCH_POWER_FRACTION,
    STRETCH_SETTLED_FRACTION,
    STRETCH_SETTLED_MPS,
    TURNING_DEG,
    TURNING_MEAN_S,
    TURNING_OVER_S,
    WEAVE_DEG,
    WEAVE_S,
)
from onboard.efficiency.trial.seconds import Seconds

Bools = npt.NDArray[np.bool_]

PIECE_S = 5
"""Length of the pieces whose means show whether the speed has settled [s]."""


def straight(seconds: Seconds, *, marked: bool) -> list[Seconds]:
    """Return the straight stretches, settled, in order.

    Parameters
    ----------
    seconds
        A log, or a marked part of it.
    marked
        Whether the rider marked it as a run: then only turns, rest and settling are removed;
        changes of power stay, to be judged later.
    """
    known = np.isfinite(seconds.power_w) & np.isfinite(seconds.east_mps)
    seconds = seconds.where(known)
    least_s = STRETCH_LEAST_MARKED_S if marked else STRETCH_LEAST_S
    found: list[Seconds] = []
    for first, end in _straight_parts(seconds, marked=marked):
        part = _settled(seconds.part(first, end), drop_s=0 if marked else PIECE_S)
        if len(part) >= least_s:
            found.append(part)
    return found


def smoothed(values: FloatArray, width: int = TURNING_MEAN_S) -> FloatArray:
    """Return centred moving means over `width` seconds, fewer at the ends; shape (n,)."""
    if not len(values):
        return values
    sums = np.concatenate([[0.0], np.cumsum(values)])
    place = np.arange(len(values))
    low = np.maximum(place - width // 2, 0)
    high = np.minimum(place + width // 2 + 1, len(values))
    return np.asarray((sums[high] - sums[low]) / (high - low), np.float64)


def _straight_parts(seconds: Seconds, *, marked: bool) -> Iterator[tuple[int, int]]:
    for first, end in _without_gaps(seconds):
        part = seconds.part(first, end)
        east, north = smoothed(part.east_mps), smoothed(part.north_mps)
        course_deg = np.degrees(np.unwrap(np.arctan2(east, north)))
        moves = np.hypot(east, north) >= COURSE_SLOWEST_MPS
        power = None if marked else smoothed(part.power_w, 2 * TURNING_MEAN_S)
        cuts = _cut(course_deg, _goes_straight(course_deg) & moves, power)
        for begin, stop in _weaves_joined(cuts, course_deg, moves) if marked else cuts:
            yield first + begin, first + stop


def _without_gaps(seconds: Seconds) -> Iterator[tuple[int, int]]:
    breaks = np.flatnonzero(np.diff(seconds.t_s) > STRETCH_GAP_S) + 1
    if len(seconds):
        yield from itertools.pairwise([0, *breaks.tolist(), len(seconds)])


def _goes_straight(course_deg: FloatArray) -> Bools:
    half = TURNING_OVER_S // 2
    padded = np.pad(course_deg, half, mode="edge")
    return np.abs(padded[2 * half :] - padded[: -2 * half]) < TURNING_DEG


def _cut(
    course_deg: FloatArray, goes: Bools, power: FloatArray | None
) -> Iterator[tuple[int, int]]:
    """Yield the straight stretches, cut where course or power departs from its mean."""
    begin: int | None = None
    for n in range(len(goes) + 1):
        if begin is None:
            if n < len(goes) and goes[n]:
                begin, course, watts, count = n, 0.0, 0.0, 0
            else:
                continue
        over = n == len(goes) or not goes[n]
        if not over and count >= PIECE_S:
            over = abs(course_deg[n] - course / count) > STRAY_DEG
            if power is not None:
                over = over or abs(power[n] * count / watts - 1.0) > STRETCH_POWER_FRACTION
        if over:
            yield begin, n
            begin = None
        else:
            course += float(course_deg[n])
            watts += 0.0 if power is None else max(float(power[n]), 1e-9)
            count += 1


def _weaves_joined(
    cuts: Iterable[tuple[int, int]], course_deg: FloatArray, moves: Bools
) -> list[tuple[int, int]]:
    """Join the parts into which a weaving craft was cut."""
    found: list[tuple[int, int]] = []
    for begin, end in cuts:
        if end - begin < TURNING_OVER_S:
            continue  # perhaps the end of a turn: not a run by itself
        if found:
            before, stop = found[-1]
            off = float(course_deg[begin:end].mean() - course_deg[before:stop].mean())
            if begin - stop <= WEAVE_S and abs(off) < WEAVE_DEG and moves[stop:begin].all():
                found[-1] = before, end
                continue
        found.append((begin, end))
    return found


def _settled(part: Seconds, drop_s: int) -> Seconds:
    """Remove the settling at the beginning and the easing off at the end."""
    part = part.part(drop_s, len(part) - drop_s) if len(part) > 2 * drop_s else part.part(0, 0)
    speed = np.hypot(part.east_mps, part.north_mps)
    pieces = len(speed) // PIECE_S
    if pieces < 3:
        return part
    means = np.mean(speed[: pieces * PIECE_S].reshape(pieces, PIECE_S), axis=1)
    middle = float(np.median(means))
    spread = 3.0 * 1.4826 * float(np.median(np.abs(means - middle)))
    near = np.abs(means - middle) <= max(
        STRETCH_SETTLED_FRACTION * middle, STRETCH_SETTLED_MPS, spread
    )
    places = np.flatnonzero(near)
    first, last = int(places[0]), int(places[-1])
    end = len(speed) if last == pieces - 1 else (last + 1) * PIECE_S
    return part.part(first * PIECE_S, end)
