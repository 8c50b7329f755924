"""Lone samples of a power sensor: a single reading that is impossible between its neighbours.

A damaged reading (a flipped bit, a sensor at full scale for an instant) is distinguished from a
blip of the throttle by three conditions, all of which must be met:

1. It is alone: the next sample is back at the value before it. A step that lasts is not a fault,
   nor is a pulse of two samples or more.
2. The voltage does not move with it. A current really drawn pulls the voltage down across the
   pack's resistance, in the same sample or, where the monitor smooths, in the next.
3. The current lies outside the range that this sensor has shown so far: by half that range where
   its voltage was seen to follow its current, otherwise by twice the range and at least 100 A.

The same goes for a voltage that leaps while the current stands still, or that falls below half or
rises above one and a half times its previous value.

Limits: on a monitor whose voltage does not follow the current (or follows more than one sample
late), every pulse of one sample that exceeds all before it by that much is left out. Where the
voltage follows, none was, whatever its size (tested on simulated riders who blip the throttle, at 1
to 10 Hz, with a voltage that is smoothed, coarse or late). An odd value within the range shown, or
less than `LONE_A` from its neighbours, is possible and counts; so do two odd samples in a row.

The newest sample waits for the next one only where conditions 2 and 3 make it suspect; all others
count at once. The result does not depend on the partition.
"""

import math

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.common_practice import (
    LONE_A,
    LONE_BACK_FRACTION,
    LONE_BEYOND_FRACTION,
    LONE_BEYOND_UNPROVEN_A,
    LONE_BEYOND_UNPROVEN_FRACTION,
    LONE_FOLLOWED_LEAST,
    LONE_FOLLOWS_FRACTION,
    LONE_LEAP_FRACTION,
    LONE_SHORT_CIRCUIT_A,
    LONE_STILL_A,
    LONE_STILL_FRACTION,
    LONE_VOLTS_HIGH_FRACTION,
    LONE_VOLTS_LOW_FRACTION,
)

TIME, VOLTS, AMPS = 0, 1, 2
"""Rows of the samples."""


class LoneSamples:
    """Leave out the lone samples of one sensor."""

    def __init__(self) -> None:
        self._last: tuple[float, float] | None = None
        """Volts and amps of the newest sample that counted."""
        self._waiting: FloatArray | None = None
        """The newest sample, shape (k, 1), where it is suspect."""
        self._low_a = self._high_a = 0.0
        self._followed = 0
        self._sag_va = self._square_a2 = 0.0

    @property
    def waiting_s(self) -> float | None:
        """Stream time of the sample waiting for the next one [s], None while none is."""
        return None if self._waiting is None else float(self._waiting[TIME, 0])

    def forget(self) -> None:
        """Forget the samples so far: the next one has no predecessor."""
        self._last = self._waiting = None

    def passes(self, rows: FloatArray) -> tuple[FloatArray, list[float]]:
        """Return the samples that count, and the times when others were rejected [s].

        A rejection has the time of the following sample: the lone sample's own second may have
        settled long before.

        Parameters
        ----------
        rows
            Samples in rising time, shape (k, n): time, volts, amps, and further columns.
        """
        if self._waiting is not None:
            rows = np.concatenate([self._waiting, rows], axis=1)
            self._waiting = None
        if not rows.shape[1]:
            return rows, []
        was_v, was_a = self._last or _values(rows[:, :1])
        low_v, high_v = min(was_v, float(rows[VOLTS].min())), max(was_v, float(rows[VOLTS].max()))
        low_a, high_a = min(was_a, float(rows[AMPS].min())), max(was_a, float(rows[AMPS].max()))
        if high_a - low_a < LONE_A and high_v - low_v <= LONE_LEAP_FRACTION * low_v:
            self._low_a, self._high_a = min(self._low_a, low_a), max(self._high_a, high_a)
            self._last = _values(rows[:, -1:])
            return rows, []
        volts, amps = np.append(was_v, rows[VOLTS]), np.append(was_a, rows[AMPS])
        steps_v, steps_a = np.diff(volts), np.diff(amps)
        large = np.abs(steps_a) >= LONE_A
        # The range shown only grows.
        large &= (rows[AMPS] > self._high_a + LONE_A) | (rows[AMPS] < self._low_a - LONE_A)
        leaps = np.abs(steps_v) > LONE_LEAP_FRACTION * volts[:-1]
        suspects = large | leaps
        if not suspects.any():
            self._count(rows)
            return rows, []
        # The true predecessor of a sample after a rejected one is the sample before that.
        suspects[1:] |= suspects[:-1].copy()
        return self._judged(rows, np.flatnonzero(suspects).tolist())

    def _judged(self, rows: FloatArray, suspects: list[int]) -> tuple[FloatArray, list[float]]:
        count = rows.shape[1]
        counting = np.ones(count, np.bool_)
        left_out: list[float] = []
        begin = 0
        for n in suspects:
            self._count(rows[:, begin:n])
            begin = n
            if self._last is None or not self._is_odd(self._last, rows[:, n : n + 1]):
                continue
            if n + 1 == count:
                self._waiting = rows[:, n:].copy()
            elif self._is_back(self._last, rows[:, n : n + 1], rows[:, n + 1 : n + 2]):
                left_out.append(float(rows[TIME, n + 1]))
            else:
                continue
            counting[n] = False
            begin = n + 1
        self._count(rows[:, begin:])
        return rows[:, counting], left_out

    def _count(self, rows: FloatArray) -> None:
        """Fold samples that count, in order."""
        if not rows.shape[1]:
            return
        amps, volts = rows[AMPS], rows[VOLTS]
        self._low_a = min(self._low_a, float(amps.min()))
        self._high_a = max(self._high_a, float(amps.max()))
        was_v, was_a = self._last or _values(rows[:, :1])
        steps_a = np.diff(amps, prepend=was_a)
        large = np.flatnonzero(np.abs(steps_a) >= LONE_A)
        if len(large):
            step_a, before_v = steps_a[large], np.append(was_v, volts)[large]
            sag_v = -np.sign(step_a) * (volts[large] - before_v)
            least_v = LONE_FOLLOWS_FRACTION * np.abs(step_a) * before_v / LONE_SHORT_CIRCUIT_A
            self._followed += int(np.count_nonzero(sag_v >= least_v))
            self._sag_va = _summed(self._sag_va, sag_v * np.abs(step_a))
            self._square_a2 = _summed(self._square_a2, step_a**2)
        self._last = _values(rows[:, -1:])

    def _is_odd(self, before: tuple[float, float], sample: FloatArray) -> bool:
        """Return whether a sample is impossible, if it is alone."""
        (volts_v, amps_a), (was_v, was_a) = _values(sample), before
        step_v, step_a = volts_v - was_v, amps_a - was_a
        if abs(step_v) > LONE_LEAP_FRACTION * was_v:
            still_a = max(LONE_STILL_A, LONE_STILL_FRACTION * max(abs(amps_a), abs(was_a)))
            if (
                abs(step_a) < still_a
                or not LONE_VOLTS_LOW_FRACTION * was_v < volts_v < LONE_VOLTS_HIGH_FRACTION * was_v
            ):
                return True
        if abs(step_a) < LONE_A or self._follows(step_a, step_v, was_v):
            return False
        shown_a = self._high_a - self._low_a
        if self._followed >= LONE_FOLLOWED_LEAST:
            beyond_a = max(LONE_A, LONE_BEYOND_FRACTION * shown_a)
        else:
            beyond_a = max(LONE_BEYOND_UNPROVEN_A, LONE_BEYOND_UNPROVEN_FRACTION * shown_a)
        return not self._low_a - LONE_A < amps_a < self._high_a + beyond_a

    def _is_back(self, before: tuple[float, float], sample: FloatArray, behind: FloatArray) -> bool:
        """Return whether the sample behind a suspect is back at the level before it."""
        (was_v, was_a), (then_v, then_a) = before, _values(behind)
        away_v, away_a = (
            out - was for out, was in zip(_values(sample), (was_v, was_a), strict=True)
        )
        if abs(away_a) >= LONE_A and (
            abs(then_a - was_a) > LONE_BACK_FRACTION * abs(away_a)
            or self._follows(away_a, then_v - was_v, was_v)
        ):
            return False
        leapt = abs(away_v) > LONE_LEAP_FRACTION * was_v
        return not (leapt and abs(then_v - was_v) > LONE_BACK_FRACTION * abs(away_v))

    def _follows(self, step_a: float, step_v: float, volts_v: float) -> bool:
        """Return whether a voltage moved as a real step of the current would move it."""
        least_ohm = volts_v / LONE_SHORT_CIRCUIT_A
        if self._followed >= LONE_FOLLOWED_LEAST:
            least_ohm = max(least_ohm, self._sag_va / self._square_a2)
        sag_v = -math.copysign(1.0, step_a) * step_v
        return sag_v >= LONE_FOLLOWS_FRACTION * least_ohm * abs(step_a)


def _values(row: FloatArray) -> tuple[float, float]:
    return float(row[VOLTS, 0]), float(row[AMPS, 0])


def _summed(total: float, increments: FloatArray) -> float:
    """Add increments to a total one by one: equal to the last bit for any partition."""
    return float(np.cumsum(np.append(total, increments))[-1])
