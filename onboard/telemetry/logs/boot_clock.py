"""Stream time by the boot clock alone: made continuous, zero at the first stamp."""

import numpy as np

from onboard.block import FloatArray

APART_S = 2.0
"""Largest disorder of the stamps of one boot [s]; a clock that goes back by more has restarted. A
stamp further than this from both its neighbours, which agree with each other, is damage."""

WRAP_S = 2**32 * 1e-3
"""A clock of milliseconds in 32 bits starts again from zero after this [s]: 49.7 days."""

NEAR_WRAP_S = 60.0
"""A stamp this near to the wrap, behind another and in front of one as near to zero, wraps [s]: far
longer than the pauses of a stream, far shorter than what a restart could hit by chance."""

_TO_BEGIN = 3
"""Stamps needed to judge the first."""


class BootClock:
    """Convert stamps to stream time; a stamp that jumps waits for the next one to confirm it.

    The log does not state the time off between two boots: the second follows immediately.
    """

    def __init__(self) -> None:
        self._unwrap = Unwrap()
        self._before_s: float | None = None
        """The last stamp that counted."""
        self._offset_s = 0.0
        self._waiting = np.empty(0)
        self.highest_s = 0.0
        """Latest stream time so far [s]."""
        self.restarts = 0

    def push(self, stamp_s: FloatArray, *, final: bool = False) -> FloatArray:
        """Return the stream time of waiting and new records, in order, as far as it is settled.

        Parameters
        ----------
        stamp_s
            Boot clock of the new records [s], shape (n,).
        final
            Whether no more will come.

        Returns
        -------
        numpy.ndarray
            Stream time [s], NaN where the stamp is damaged, shape (m,); at most two records wait.
        """
        stamps = np.concatenate([self._waiting, self._unwrap.push(stamp_s)])
        self._waiting = np.empty(0)
        if not len(stamps):
            return stamps
        if self._before_s is None:
            if len(stamps) < _TO_BEGIN and not final:
                self._waiting = stamps
                return np.empty(0)
            # A damaged first stamp must not set the offset.
            odd = len(stamps) >= _TO_BEGIN and _odd(*stamps[:_TO_BEGIN].tolist())
            self._before_s = float(stamps[1 if odd else 0])
            self._offset_s = -self._before_s
        leaps = np.flatnonzero(np.abs(np.diff(stamps, prepend=self._before_s)) > APART_S)
        t_s: FloatArray = stamps + self._offset_s
        passed = -1
        for n in leaps.tolist():
            if n <= passed:
                continue
            if n + 1 == len(stamps) and not final:
                self._waiting, t_s, stamps = stamps[n:], t_s[:n], stamps[:n]
                break
            before_s = float(stamps[n - 1]) if n else self._before_s
            after_s = float(stamps[min(n + 1, len(stamps) - 1)])
            if _odd(float(stamps[n]), before_s, after_s):
                t_s[n] = np.nan
                passed = n + 1
            elif stamps[n] < before_s - APART_S:
                reached_s = float(np.nanmax(t_s[:n], initial=self.highest_s))
                self._offset_s = reached_s - float(stamps[n])
                t_s[n:] = stamps[n:] + self._offset_s
                self.restarts += 1
        good = np.flatnonzero(np.isfinite(t_s))
        if len(good):
            self._before_s = float(stamps[good[-1]])
            self.highest_s = max(self.highest_s, float(np.nanmax(t_s)))
        return t_s


def _odd(one_s: float, before_s: float, after_s: float) -> bool:
    """Return whether a stamp agrees with neither of two others that agree with each other."""
    return (
        abs(before_s - after_s) <= APART_S < abs(one_s - after_s)
        and abs(one_s - before_s) > APART_S
    )


class Unwrap:
    """Continue a clock of 32-bit milliseconds over its wrap; other clocks pass unchanged.

    Examples
    --------
    >>> ends = Unwrap().push(np.array([WRAP_S - 2.0, WRAP_S - 1.0, 0.0, 1.0])) - WRAP_S
    >>> ends.round(3).tolist()
    [-2.0, -1.0, 0.0, 1.0]
    """

    def __init__(self) -> None:
        self._last_two = np.zeros(2)
        self._added_s = 0.0

    def push(self, stamp_s: FloatArray) -> FloatArray:
        """Return the next stamps, with the length of all wraps before them [s], shape (n,)."""
        last = np.concatenate([self._last_two, stamp_s])
        self._last_two = last[-2:]
        if last.max() > WRAP_S - NEAR_WRAP_S:
            near_end = np.abs(last - (WRAP_S - NEAR_WRAP_S / 2)) <= NEAR_WRAP_S / 2
            wraps = near_end[:-2] & near_end[1:-1] & (last[2:] < NEAR_WRAP_S)
            if wraps.any():
                added_s = self._added_s + WRAP_S * np.cumsum(wraps)
                self._added_s = float(added_s[-1])
                return stamp_s + added_s
        return stamp_s + self._added_s if self._added_s else stamp_s
