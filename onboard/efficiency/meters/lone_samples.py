"""Lone samples of a power sensor that no sensor could have made between its neighbours.

One damaged reading (a flipped bit, a sensor at the end of its scale for an instant) is told from a
rider's hand by three things, all of which must hold:

1. It is alone: the sample behind it is back at the one before it. A step that stays is no fault,
   nor is a pulse of two samples or more.
2. The voltage does not move with it. A current that is really drawn pulls the voltage down over the
   pack's resistance, in the same sample or, where the monitor smooths, in the next.
3. The current lies beyond all that this sensor has shown so far: by half that range where its
   voltage was seen to follow its current, else by twice the range and at least 100 A.

Likewise a voltage that leaps while the current stands still, or that falls below half or rises
above one and a half times what it was.

What it gets wrong: on a monitor whose voltage follows no current (or by more than one sample late),
a pulse of one sample that exceeds all before it by that much is left out, each time. Where it
follows, none was, whatever its size (tried on simulated hands that blip the throttle, at 1 to
10 Hz, with a voltage that is smoothed, coarse or late). An odd value within what was shown, or
less than `LONE_A` from its neighbours, counts, for it is possible; so do two in a row.

The newest sample waits for the next one only where it is suspect by 2 and 3, so all others count at
once. The result does not depend on how the stream is cut.
"""

import math

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.meters.cumulative import running_total

LONE_A = 20.0
"""Less than this from its neighbours a sample is not looked at: half a second of it is 0.1 Wh."""

SHORT_A = 5000.0
"""More than any pack of such a craft gives into a short circuit, at its monitor; so a current sags
the voltage by at least its share of this, until more is known. Common practice, no source."""

FOLLOWS_FRACTION = 0.25
"""A voltage that moves by less than this of the sag expected does not follow; one that moves by
more may be smoothed, or read in coarse steps."""

FOLLOWED_LEAST = 3
"""So often must the voltage have followed a step of `LONE_A` until it is known to, and by how
much."""

BEYOND_FRACTION, BEYOND_UNPROVEN_FRACTION, BEYOND_UNPROVEN_A = 0.5, 2.0, 100.0
"""How far above what was shown, in parts of its range: where the voltage is known to follow (and at
least `LONE_A`), and where it is not (and at least so much). Below it `LONE_A` is enough: nothing
charges a pack for one sample."""

LEAP_FRACTION, STILL_A, STILL_FRACTION = 0.2, 1.0, 0.1
"""A voltage leaps by this; a current stands still that changes by less than either of these."""

HALF, AND_A_HALF = 0.5, 1.5
"""No load halves the voltage for one sample, and none that ends raises it by half."""

BACK_FRACTION = 0.25
"""Of the way out: the next sample is back where it was before if it is no further than this off."""

TIME, VOLTS, AMPS = 0, 1, 2
"""Rows of what is looked at."""


class LoneSamples:
    """Takes the lone samples out of those of one sensor."""

    def __init__(self) -> None:
        self._last: tuple[float, float] | None = None
        """Volts and amps of the newest that counted."""
        self._waiting: FloatArray | None = None
        self._low_a = self._high_a = 0.0
        self._followed = 0
        self._sag_va = self._square_a2 = 0.0

    @property
    def waiting_s(self) -> float | None:
        """Stream time of the sample that waits for the next one [s], None while none does."""
        return None if self._waiting is None else float(self._waiting[TIME, 0])

    def forget(self) -> None:
        """Look at what comes next without what came before."""
        self._last = self._waiting = None

    def passes(self, rows: FloatArray) -> tuple[FloatArray, list[float]]:
        """Return the samples that count, and when it was known of others that they do not [s].

        That is the time of the sample behind each: its own second may be settled long before.

        Parameters
        ----------
        rows
            Samples in rising time, shape (k, n): time, volts, amps, and what goes with them.
        """
        if self._waiting is not None:
            rows = np.concatenate([self._waiting, rows], axis=1)
            self._waiting = None
        if not rows.shape[1]:
            return rows, []
        was_v, was_a = self._last or _values(rows[:, :1])
        low_v, high_v = min(was_v, float(rows[VOLTS].min())), max(was_v, float(rows[VOLTS].max()))
        low_a, high_a = min(was_a, float(rows[AMPS].min())), max(was_a, float(rows[AMPS].max()))
        if high_a - low_a < LONE_A and high_v - low_v <= LEAP_FRACTION * low_v:
            self._low_a, self._high_a = min(self._low_a, low_a), max(self._high_a, high_a)
            self._last = _values(rows[:, -1:])
            return rows, []
        volts, amps = np.append(was_v, rows[VOLTS]), np.append(was_a, rows[AMPS])
        steps_v, steps_a = np.diff(volts), np.diff(amps)
        large = np.abs(steps_a) >= LONE_A
        # A range that was shown only grows.
        large &= (rows[AMPS] > self._high_a + LONE_A) | (rows[AMPS] < self._low_a - LONE_A)
        leaps = np.abs(steps_v) > LEAP_FRACTION * volts[:-1]
        suspects = large | leaps
        if not suspects.any():
            self._count(rows)
            return rows, []
        # What comes behind one that is left out has another neighbour than it seems to have.
        suspects[1:] |= suspects[:-1].copy()
        return self._judged(rows, np.flatnonzero(suspects).tolist())

    def _judged(self, rows: FloatArray, suspects: list[int]) -> tuple[FloatArray, list[float]]:
        count = rows.shape[1]
        kept = np.ones(count, np.bool_)
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
            kept[n] = False
            begin = n + 1
        self._count(rows[:, begin:])
        return rows[:, kept], left_out

    def _count(self, rows: FloatArray) -> None:
        """Take in samples that count, one behind the other."""
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
            least_v = FOLLOWS_FRACTION * np.abs(step_a) * before_v / SHORT_A
            self._followed += int(np.count_nonzero(sag_v >= least_v))
            self._sag_va = running_total(self._sag_va, sag_v * np.abs(step_a))
            self._square_a2 = running_total(self._square_a2, step_a**2)
        self._last = _values(rows[:, -1:])

    def _is_odd(self, before: tuple[float, float], sample: FloatArray) -> bool:
        """Return whether a sample cannot be, if it is alone."""
        (volts_v, amps_a), (was_v, was_a) = _values(sample), before
        step_v, step_a = volts_v - was_v, amps_a - was_a
        if abs(step_v) > LEAP_FRACTION * was_v:
            still_a = max(STILL_A, STILL_FRACTION * max(abs(amps_a), abs(was_a)))
            if abs(step_a) < still_a or not HALF * was_v < volts_v < AND_A_HALF * was_v:
                return True
        if abs(step_a) < LONE_A or self._follows(step_a, step_v, was_v):
            return False
        shown_a = self._high_a - self._low_a
        if self._followed >= FOLLOWED_LEAST:
            beyond_a = max(LONE_A, BEYOND_FRACTION * shown_a)
        else:
            beyond_a = max(BEYOND_UNPROVEN_A, BEYOND_UNPROVEN_FRACTION * shown_a)
        return not self._low_a - LONE_A < amps_a < self._high_a + beyond_a

    def _is_back(self, before: tuple[float, float], sample: FloatArray, behind: FloatArray) -> bool:
        """Return whether the sample behind another is where the one before it was."""
        (was_v, was_a), (then_v, then_a) = before, _values(behind)
        away_v, away_a = (
            out - was for out, was in zip(_values(sample), (was_v, was_a), strict=True)
        )
        if abs(away_a) >= LONE_A and (
            abs(then_a - was_a) > BACK_FRACTION * abs(away_a)
            or self._follows(away_a, then_v - was_v, was_v)
        ):
            return False
        leapt = abs(away_v) > LEAP_FRACTION * was_v
        return not (leapt and abs(then_v - was_v) > BACK_FRACTION * abs(away_v))

    def _follows(self, step_a: float, step_v: float, volts_v: float) -> bool:
        """Return whether a voltage moved as a step of the current would have it."""
        least_ohm = volts_v / SHORT_A
        if self._followed >= FOLLOWED_LEAST:
            least_ohm = max(least_ohm, self._sag_va / self._square_a2)
        sag_v = -math.copysign(1.0, step_a) * step_v
        return sag_v >= FOLLOWS_FRACTION * least_ohm * abs(step_a)


def _values(row: FloatArray) -> tuple[float, float]:
    return float(row[VOLTS, 0]), float(row[AMPS, 0])
