"""A cumulative curve over time: the total so far, and its past over a bounded stretch.

Trip, lap and rolling window are all differences between two points of such a curve. Nothing is ever
added on entry and subtracted on exit, so one bad sample cannot stay for ever.
"""

import numpy as np

from onboard.block import FloatArray

CAPACITY = 16_384
"""Points kept."""

SPACING_S = 0.02
"""Of samples within one such slice of time only the last is kept, so that the points reach back for
327 s at any rate. The totals rest on every sample all the same."""


def running_total(total: float, increments: FloatArray) -> float:
    """Add increments to a total one after the other: the same to the last bit for any cutting.

    Examples
    --------
    >>> running_total(0.1, np.array([0.2, 0.3])) == 0.1 + 0.2 + 0.3
    True
    """
    return float(np.cumsum(np.concatenate([[total], increments]))[-1])


class CumulativeCurve:
    """Total over time, piecewise linear between samples.

    Totals are summed in order of time whatever the blocks, so they are the same to the last bit for
    any cutting of the stream.
    """

    def __init__(self) -> None:
        # Twice the room: points are moved down when it is full, so that they stay in one piece.
        self._t_s = np.empty(2 * CAPACITY)
        self._total = np.empty(2 * CAPACITY)
        self._end = 0
        self._first_s: float | None = None

    @property
    def total(self) -> float:
        """The total so far."""
        return float(self._total[self._end - 1]) if self._end else 0.0

    @property
    def first_s(self) -> float | None:
        """Time of the first point [s], None while there is none."""
        return self._first_s

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
            What was added since the point before, shape (n,); the very first counts for nothing.
        """
        if not len(t_s):
            return
        if self._first_s is None:
            self._first_s = float(t_s[0])
            increments = np.concatenate([[0.0], increments[1:]])
        total = np.cumsum(np.concatenate([[self.total], increments]))[1:]
        slices = np.floor(t_s / SPACING_S)
        if self._end and slices[0] == np.floor(self._t_s[self._end - 1] / SPACING_S):
            self._end -= 1
        kept = np.append(slices[1:] != slices[:-1], True)
        t_s, total = t_s[kept][-CAPACITY:], total[kept][-CAPACITY:]
        if self._end + len(t_s) > len(self._t_s):
            moved = slice(self._end - min(self._end, CAPACITY), self._end)
            self._end = moved.stop - moved.start
            self._t_s[: self._end] = self._t_s[moved].copy()
            self._total[: self._end] = self._total[moved].copy()
        self._t_s[self._end : self._end + len(t_s)] = t_s
        self._total[self._end : self._end + len(t_s)] = total
        self._end += len(t_s)

    def at(self, t_s: float) -> float:
        """Give the total at a time [s], by interpolation; at the ends beyond them.

        Asking further back than the kept stretch gives the oldest total kept.
        """
        if not self._end:
            return 0.0
        return float(np.interp(t_s, self._t_s[: self._end], self._total[: self._end]))
