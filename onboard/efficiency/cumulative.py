"""Cumulative curves over time: the totals so far, and their past over some minutes.

Trip, lap, second and rolling window are all differences between two points of such a curve. Nothing
is ever added on entry and subtracted on exit, so one bad sample cannot stay for ever.
"""

from typing import Any, overload

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray

Ints = npt.NDArray[np.int64]

KEPT_S = 330.0
"""Points reach back so far before the block that came last: the longest window is of 300 s, and may
end where a source that is not stale yet ended."""

SLICES_PER_S = 25
"""Of samples within one such slice of time only the first and the last are kept, so that a fast
sensor needs no more than 50 points a second. The totals rest on every sample all the same, and so
do the values at whole seconds, which lie between two slices."""


def running_total(total: float, increments: FloatArray) -> float:
    """Add increments to a total one after the other: the same to the last bit for any cutting.

    Examples
    --------
    >>> running_total(0.1, np.array([0.2, 0.3])) == 0.1 + 0.2 + 0.3
    True
    """
    return float(np.cumsum(np.concatenate([[total], increments]))[-1])


class CumulativeCurves:
    """Totals over one time axis, piecewise linear between samples.

    They are summed in order of time whatever the blocks, so they are the same to the last bit for
    any cutting of the stream.

    Parameters
    ----------
    names
        What is summed.
    """

    def __init__(self, *names: str) -> None:
        self._columns = {name: number for number, name in enumerate(names)}
        self._t_s = np.empty(0)
        self._total = np.empty((len(names), 0))
        self._end = 0
        self._first_s: float | None = None
        self._remembered_s: list[float] = []
        self._apart = 0
        """So many points in front are kept for these times alone."""

    def __getstate__(self) -> dict[str, Any]:
        """Give what a copy needs: the points kept, and none of the room behind them."""
        kept, apart = self._kept()
        points = {"_t_s": self._t_s[kept], "_total": self._total[:, kept]}
        return self.__dict__ | points | {"_end": len(kept), "_apart": apart}

    def total(self, name: str) -> float:
        """Give the total so far."""
        return float(self._total[self._columns[name], self._end - 1]) if self._end else 0.0

    @property
    def first_s(self) -> float | None:
        """Time of the first point [s], None while there is none."""
        return self._first_s

    @property
    def kept_from_s(self) -> float | None:
        """Time from which all is kept [s], None while there is nothing."""
        return float(self._t_s[self._apart]) if self._end else None

    @property
    def last_s(self) -> float | None:
        """Time of the last point [s], None while there is none."""
        return float(self._t_s[self._end - 1]) if self._end else None

    def extend(self, t_s: FloatArray, increments: FloatArray) -> None:
        """Add points.

        Parameters
        ----------
        t_s
            Times, later than all before and rising [s], shape (n,).
        increments
            What was added since the point before, shape (names, n); the very first counts for
            nothing.
        """
        if not len(t_s):
            return
        summed = np.empty((len(increments), len(t_s) + 1))
        summed[:, 0] = self._total[:, self._end - 1] if self._end else 0.0
        summed[:, 1:] = increments
        if self._first_s is None:
            self._first_s = float(t_s[0])
            summed[:, 1] = 0.0
        total = np.cumsum(summed, axis=1, out=summed)[:, 1:]
        # The last two points kept may turn out to be in the middle of their slice.
        held = self._t_s[max(self._end - 2, 0) : self._end]
        slices = np.floor(
            np.concatenate([np.full(2 - len(held), -np.inf), held, t_s]) * SLICES_PER_S
        )
        if slices[0] == slices[1] == slices[2] and np.isfinite(slices[0]):
            self._end -= 1
        first = slices[2:] != slices[1:-1]
        kept = first | np.append(first[1:], True)
        if not kept.all():
            t_s, total = t_s[kept], total[:, kept]
        if self._end + len(t_s) > len(self._t_s):
            self._make_room(len(t_s))
        self._t_s[self._end : self._end + len(t_s)] = t_s
        self._total[:, self._end : self._end + len(t_s)] = total
        self._end += len(t_s)

    def remember(self, t_s: float) -> None:
        """Keep the total at a time that has not been forgotten yet [s] for good."""
        self._remembered_s.append(t_s)

    @overload
    def at(self, name: str, t_s: float) -> float: ...
    @overload
    def at(self, name: str, t_s: FloatArray) -> FloatArray: ...
    def at(self, name: str, t_s: float | FloatArray) -> float | FloatArray:
        """Give a total at a time or times [s], by interpolation; at the ends beyond them.

        Nothing is known of a time before `kept_from_s`, but where it was to be remembered.
        """
        if not self._end:
            return 0.0 if np.ndim(t_s) == 0 else np.zeros(np.shape(t_s))
        if isinstance(t_s, np.ndarray):
            if not t_s.size:
                return np.empty(t_s.shape)
            kept = self._around(float(t_s.min()), float(t_s.max()))
            return np.interp(t_s, self._t_s[kept], self._total[self._columns[name], kept])
        kept = self._around(t_s, t_s)
        return float(np.interp(t_s, self._t_s[kept], self._total[self._columns[name], kept]))

    def _around(self, begin_s: float, end_s: float) -> slice:
        """Give the points that matter between two times: to look at all takes far longer."""
        first, last = np.searchsorted(self._t_s[: self._end], (begin_s, end_s)).tolist()
        return slice(max(first - 1, 0), min(last + 1, self._end))

    def _make_room(self, more: int) -> None:
        """Let go of what is old. There is room for as much again: it is rarely done."""
        kept, self._apart = self._kept()
        t_s, total = self._t_s[kept], self._total[:, kept]
        needed = len(kept) + more
        if not 1.5 * needed <= len(self._t_s) <= 8 * needed:
            self._t_s, self._total = np.empty(2 * needed), np.empty((len(total), 2 * needed))
        self._end = len(kept)
        self._t_s[: self._end], self._total[:, : self._end] = t_s, total

    def _kept(self) -> tuple[Ints, int]:
        """Give the places of the points that are still needed, and how many stand apart."""
        t_s = self._t_s[: self._end]
        if not self._end:
            return np.empty(0, np.int64), 0
        begin = max(int(np.searchsorted(t_s, t_s[-1] - KEPT_S)) - 1, 0)
        # The points on both sides, for the line between them.
        after = np.searchsorted(t_s, self._remembered_s)
        beside = np.unique(np.concatenate([after - 1, after]))
        apart = beside[(beside >= 0) & (beside < begin)]
        return np.concatenate([apart, np.arange(begin, self._end)]), len(apart)
