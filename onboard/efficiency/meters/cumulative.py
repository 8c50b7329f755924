"""Cumulative curves over time: the totals so far, and their past over a bounded stretch.

Trip, lap, second and rolling window are all differences between two points of such a curve. Nothing
is ever added on entry and subtracted on exit, so one bad sample cannot stay for ever.
"""

from typing import Any, overload

import numpy as np

from onboard.block import FloatArray

CAPACITY = 8192
"""Points kept."""

SLICES_PER_S = 12
"""Of samples within one such slice of time only the first and the last are kept, so that the points
reach back for 341 s at any rate. The totals rest on every sample all the same, and so do the values
at whole seconds, which lie between two slices."""


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
        # Room is made with the first point: many a sensor is never heard.
        self._t_s, self._total = np.empty(0), np.empty((len(names), 0))
        self._end = 0
        self._first_s: float | None = None

    def __getstate__(self) -> dict[str, Any]:
        """Return what a copy needs: the points kept, and none of the room behind them."""
        kept = slice(self._end - min(self._end, CAPACITY), self._end)
        points = {"_t_s": self._t_s[kept].copy(), "_total": self._total[:, kept].copy()}
        return self.__dict__ | points

    def __setstate__(self, state: dict[str, Any]) -> None:
        """Make room again behind the points kept."""
        self.__dict__.update(state)
        t_s, total = self._t_s, self._total
        self._end = len(t_s)
        if self._end:
            self._make_room()
            self._t_s[: self._end], self._total[:, : self._end] = t_s, total

    def _make_room(self) -> None:
        """Have all the room there will ever be.

        It is twice that of the points, which are moved down when it is full, so that they stay in
        one piece. It is written to, so that the process does not grow by it for hours.
        """
        self._t_s, self._total = (
            np.full(2 * CAPACITY, 0.0),
            np.full((len(self._total), 2 * CAPACITY), 0.0),
        )

    def total(self, name: str) -> float:
        """Return the total so far."""
        return float(self._total[self._columns[name], self._end - 1]) if self._end else 0.0

    @property
    def first_s(self) -> float | None:
        """Time of the first point [s], None while there is none."""
        return self._first_s

    @property
    def kept_from_s(self) -> float | None:
        """Time of the oldest point kept [s], None while there is none."""
        return float(self._t_s[max(self._end - CAPACITY, 0)]) if self._end else None

    @property
    def last_s(self) -> float | None:
        """Time of the last point [s], None while there is none."""
        return float(self._t_s[self._end - 1]) if self._end else None

    def last_before(self, t_s: float) -> float | None:
        """Return the time of the last point kept up to a time [s], None where there is none."""
        place = int(np.searchsorted(self._t_s[: self._end], t_s, side="right"))
        return float(self._t_s[place - 1]) if place else None

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
        t_s, total = t_s[-CAPACITY:], total[:, -CAPACITY:]
        if not len(self._t_s):
            self._make_room()
        if self._end + len(t_s) > len(self._t_s):
            moved = slice(self._end - min(self._end, CAPACITY), self._end)
            self._end = moved.stop - moved.start
            self._t_s[: self._end] = self._t_s[moved].copy()
            self._total[:, : self._end] = self._total[:, moved].copy()
        self._t_s[self._end : self._end + len(t_s)] = t_s
        self._total[:, self._end : self._end + len(t_s)] = total
        self._end += len(t_s)

    @overload
    def at(self, name: str, t_s: float) -> float: ...
    @overload
    def at(self, name: str, t_s: FloatArray) -> FloatArray: ...
    def at(self, name: str, t_s: float | FloatArray) -> float | FloatArray:
        """Return a total at a time or times [s], by interpolation; at the ends beyond them.

        Asking further back than the kept stretch gives the oldest total kept.
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
        """Return the points that matter between two times: to look at all takes far longer."""
        first, last = np.searchsorted(self._t_s[: self._end], (begin_s, end_s)).tolist()
        return slice(max(first - 1, 0), min(last + 1, self._end))
