"""Cumulative curves over time: running totals, and their past over a bounded stretch.

Trip, lap, second and rolling window are all differences between two points of such a curve. Nothing
is added on entry and subtracted on exit, so one bad sample cannot stay for ever.
"""

from collections.abc import Iterable
from typing import Any, overload

import numpy as np

from onboard.block import FloatArray

CAPACITY = 8192
"""Points stored of the past."""

SLICES_PER_S = 12
"""Time slices per second; only the first and last sample of a slice are stored, so the points reach
back at least 341 s. The totals still count every sample, and so do the values at whole seconds,
which lie between two slices."""


class CumulativeCurves:
    """Totals over one time axis, piecewise linear between samples.

    Increments are summed in order of time whatever the blocks, so the totals are equal to the last
    bit for any partition of the stream.

    Parameters
    ----------
    names
        Names of the totals.
    """

    def __init__(self, *names: str) -> None:
        self._columns = {name: number for number, name in enumerate(names)}
        # Allocated with the first point: many sensors never send any.
        self._t_s, self._total = np.empty(0), np.empty((len(names), 0))
        self._end = 0
        self.first_s: float | None = None
        """Time of the first point [s], None while there is none."""

    def __getstate__(self) -> dict[str, Any]:
        """Return the state that a copy needs: the points stored, without the spare capacity."""
        stored = slice(self._end - min(self._end, CAPACITY), self._end)
        points = {"_t_s": self._t_s[stored].copy(), "_total": self._total[:, stored].copy()}
        return self.__dict__ | points

    def __setstate__(self, state: dict[str, Any]) -> None:
        """Restore the points, with spare capacity."""
        self.__dict__.update(state)
        t_s, total = self._t_s, self._total
        self._end = len(t_s)
        if self._end:
            self._make_room()
            self._t_s[: self._end], self._total[:, : self._end] = t_s, total

    def _make_room(self) -> None:
        """Allocate the buffer, once and for all.

        It holds twice the points stored, which move to its start when it is full, so that they stay
        contiguous. It is written to at once: otherwise the process would grow into it for hours.
        """
        self._t_s, self._total = (
            np.full(2 * CAPACITY, 0.0),
            np.full((len(self._total), 2 * CAPACITY), 0.0),
        )

    @property
    def room(self) -> int:
        """Capacity of the buffer in points; it never grows."""
        return len(self._t_s)

    def total(self, name: str) -> float:
        """Return the total so far."""
        return float(self._total[self._columns[name], self._end - 1]) if self._end else 0.0

    @property
    def kept_from_s(self) -> float | None:
        """Time of the oldest point stored [s], None before the first."""
        return float(self._t_s[max(self._end - CAPACITY, 0)]) if self._end else None

    @property
    def last_s(self) -> float | None:
        """Time of the last point [s], None before the first."""
        return float(self._t_s[self._end - 1]) if self._end else None

    def last_before(self, t_s: float) -> float | None:
        """Return the time of the last point stored up to a time [s], None without one."""
        place = int(np.searchsorted(self._t_s[: self._end], t_s, side="right"))
        return float(self._t_s[place - 1]) if place else None

    def extend(self, t_s: FloatArray, increments: FloatArray) -> None:
        """Append points.

        Parameters
        ----------
        t_s
            Times [s], rising and later than all before, shape (n,).
        increments
            Increase since the previous point, shape (names, n); that of the very first point is
            ignored.
        """
        if not len(t_s):
            return
        summed = np.empty((len(increments), len(t_s) + 1))
        summed[:, 0] = self._total[:, self._end - 1] if self._end else 0.0
        summed[:, 1:] = increments
        if self.first_s is None:
            self.first_s = float(t_s[0])
            summed[:, 1] = 0.0
        total = np.cumsum(summed, axis=1, out=summed)[:, 1:]
        # The last point stored may turn out to be in the middle of its slice.
        last_two = self._t_s[max(self._end - 2, 0) : self._end]
        slices = np.floor(
            np.concatenate([np.full(2 - len(last_two), -np.inf), last_two, t_s]) * SLICES_PER_S
        )
        if slices[0] == slices[1] == slices[2] and np.isfinite(slices[0]):
            self._end -= 1
        first = slices[2:] != slices[1:-1]
        edges = first | np.append(first[1:], True)
        if not edges.all():
            t_s, total = t_s[edges], total[:, edges]
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
        """Return a total at a time or times [s], interpolated; constant beyond the ends.

        Before the oldest point stored it is the total there.
        """
        if not isinstance(t_s, np.ndarray):
            return self._at_once(self._total[self._columns[name]], t_s) if self._end else 0.0
        if not self._end or not t_s.size:
            return np.zeros(t_s.shape)
        around = self._around(float(t_s.min()), float(t_s.max()))
        return np.interp(t_s, self._t_s[around], self._total[self._columns[name], around])

    def _at_once(self, total: FloatArray, t_s: float) -> float:
        """Return a total at one time, as `numpy.interp` has it, to the last bit."""
        times = self._t_s
        after = int(times[: self._end].searchsorted(t_s, "right"))
        before = max(after - 1, 0)
        begin_s, begin = times.item(before), total.item(before)
        if after in {0, self._end} or begin_s == t_s:
            return float(begin)
        slope = (total.item(after) - begin) / (times.item(after) - begin_s)
        return float(slope * (t_s - begin_s) + begin)

    def _around(self, begin_s: float, end_s: float) -> slice:
        """Return the slice of points that spans two times, as interpolating in all is slower."""
        first, last = np.searchsorted(self._t_s[: self._end], (begin_s, end_s)).tolist()
        return slice(max(first - 1, 0), min(last + 1, self._end))


def forgotten_s(curves: Iterable[CumulativeCurves]) -> float:
    """Return the stream time before which a curve has discarded its totals [s].

    Minus infinity if all still reach back to their first point.
    """
    spans = ((curve.first_s, curve.kept_from_s) for curve in curves)
    lost = (kept_s for first_s, kept_s in spans if kept_s is not None and kept_s != first_s)
    return max(lost, default=-np.inf)
