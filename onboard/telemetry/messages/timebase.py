"""The stream's time base: when each message was sent, whatever delays the link added.

Stream time is the autopilot's boot clock, made continuous over restarts, zero at the first message.
A message without a stamp is interpolated between the stamped ones around it by its sequence number,
so that neither a burst after a stall nor playback at another speed has any influence. Hence a
message without a stamp waits for the next stamped one.

The time of receipt counts in three cases only: messages were lost over a long gap (then it decides
on which side of the gap a message lies), no stamped message comes for `PATIENCE_S`, or the
autopilot restarted.

A stamp may be damaged, or come from another system of the same id. One that leaps ahead by `LEAP_S`
is not believed, and one that goes back by `RESTART_S` only if the next stamp agrees: one odd stamp
moves nothing, two in a row do.
"""

import numpy as np

from onboard.block import FloatArray
from onboard.telemetry.mavlink.checksum import Ints
from onboard.telemetry.messages.stamps import steps_s

NUMBERS_MOST = 200
"""Messages in a gap up to which sequence numbers, which wrap after 256, place a message."""

LATE_MOST = 6
"""Step back of the sequence number below which a message was repeated or late; more is a loss."""

ALL_CAME_FRACTION = 0.7
"""Share of the expected messages in a longer gap from which their order still places them."""

RATE_AT_FIRST_HZ = 50.0
RATE_FROM_S = 5.0
"""Messages a second that an autopilot is assumed to send until it has sent for this long [s]."""

PATIENCE_S = 3.0
"""Longest wait for the next stamped message [s, by receipt]; then the receipt counts."""

LEAP_S = 60.0
"""Step ahead from which a single stamp is not believed. If the next one agrees, time did pass; the
first message behind the gap is then placed by its order."""

BUFFERED_MOST_S, FASTEST = 3600.0, 100.0
"""Longest stretch that a buffer may hide [s], and fastest playback of a log as a multiple of real
time: a boot clock that gained more than both allow was set, and the receipt counts."""

RESTARTS_MOST = 100
"""Most restarts to keep until `taken_restarts` is called."""

RESTART_S = 2.0
"""Step back of the boot clock from which it restarted; less is messages out of order."""


class TimeBase:
    """Turn stamps and times of receipt into stream time; some messages wait for the next stamp."""

    def __init__(self) -> None:
        self._offset_s: float | None = None
        # The newest message: its time of receipt as passed, and counted from the first one's.
        self._clock_s: float | None = None
        self.first_receipt_s: float | None = None
        """Time of receipt of the first message [s], where stream time is zero."""
        self._counted_s = self._received_s = 0.0
        # The last timed message: the left end of the next stretch.
        self._t_s = 0.0
        self._receipt_s = 0.0
        self._boot_s = -np.inf
        self._seen_s = np.nan
        self._sequence = self._sent = 0
        # Messages that wait: receipt, sequence number, and a stamp that is not believed yet.
        self._suspect_s = self._waiting_receipt = np.empty(0)
        self._waiting_sequence = np.empty(0, np.int64)
        self.restarts = 0
        self.began_boot_s = float("nan")
        """Boot clock where stream time is zero [s], NaN before the first stamp."""
        self._off: list[tuple[float, float]] = []

    @property
    def waiting(self) -> int:
        """Number of messages waiting for their time."""
        return len(self._waiting_receipt)

    @property
    def boot_s(self) -> float:
        """Boot clock of the newest stamped message [s], NaN before the first."""
        return self._boot_s if np.isfinite(self._boot_s) else float("nan")

    def taken_restarts(self) -> list[tuple[float, float]]:
        """Return the restarts since the last call: stream times before and after each [s]."""
        found, self._off = self._off, []
        return found

    def push(self, receipt_s: FloatArray, boot_s: FloatArray, sequence: Ints) -> FloatArray:
        """Return the stream time of waiting and new messages, in order, as far as it is settled.

        Parameters
        ----------
        receipt_s
            Time of receipt of each new message [s], shape (n,).
        boot_s
            Its boot clock [s], NaN where it has no stamp, shape (n,).
        sequence
            Its sequence number, 0 to 255, shape (n,).

        Returns
        -------
        numpy.ndarray
            Stream time [s], shape (m,); the rest, n + waiting - m messages, wait.
        """
        if not len(receipt_s):
            return np.empty(0)
        if self._clock_s is None:
            self._clock_s = self.first_receipt_s = float(receipt_s[0])
            self._sequence = int(sequence[0]) - 1
        # A wall clock that is set back must neither reverse time nor stop it.
        steps = steps_s(receipt_s, self._clock_s)
        counted = np.cumsum(np.concatenate([[self._counted_s], steps]))[1:]
        received = np.maximum.accumulate(np.maximum(counted, self._received_s))
        self._clock_s, self._counted_s = float(receipt_s[-1]), float(counted[-1])
        self._received_s = float(received[-1])
        receipt = np.concatenate([self._waiting_receipt, received])
        boot, accepted_s = self._plausible(np.concatenate([self._suspect_s, boot_s]), receipt)
        self._waiting_sequence = np.concatenate([self._waiting_sequence, sequence])
        return self._settle(receipt, boot, accepted_s, self._received_s)

    def _plausible(self, boot_s: FloatArray, receipt: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Remove stamps that leap ahead, or go back without the next one agreeing.

        Of the waiting messages only one that went back has a stamp: it waits for the next one, no
        longer than any other message.

        Returns
        -------
        tuple of numpy.ndarray
            The stamps, and the time of receipt at which each is accepted.
        """
        self._suspect_s = np.full(len(boot_s), np.nan)
        stamped = np.flatnonzero(np.isfinite(boot_s))
        if not len(stamped):
            return boot_s, receipt
        values = boot_s[stamped]
        before = np.concatenate([[self._seen_s], values[:-1]])
        ahead, back = values - before > LEAP_S, values - before < -RESTART_S
        if not (ahead.any() or back.any()):
            self._seen_s = float(values[-1])
            return boot_s, receipt
        stamps = boot_s.copy()
        alone = np.append(values[1:] >= before[:-1] - RESTART_S, True)
        came = receipt[stamped]
        alone[:-1] |= came[:-1] < came[1:] - PATIENCE_S
        stamps[stamped[ahead | (back & alone)]] = np.nan
        accepted_s = receipt.copy()
        agreed = np.flatnonzero(back & ~alone)
        accepted_s[stamped[agreed]] = came[agreed + 1]
        if back[-1]:
            self._suspect_s[stamped[-1]] = values[-1]
        self._seen_s = float(before[-1] if back[-1] else values[-1])
        return stamps, accepted_s

    def silence(self, now_s: float) -> FloatArray:
        """Return the times of waiting messages that the silence until now settles.

        Parameters
        ----------
        now_s
            Present time by the clock of the receipts [s].
        """
        if not self.waiting or self._clock_s is None:
            return np.empty(0)
        until_s = max(self._received_s, self._counted_s + now_s - self._clock_s)
        receipt = self._waiting_receipt
        return self._settle(receipt, np.full(self.waiting, np.nan), receipt, until_s)

    def _settle(
        self, receipt: FloatArray, boot: FloatArray, accepted_s: FloatArray, now_s: float
    ) -> FloatArray:
        numbers = self._waiting_sequence
        parts: list[FloatArray] = []
        while True:
            stamped = np.flatnonzero(np.isfinite(boot))
            left = np.concatenate([[-1], stamped])
            closing = np.concatenate([stamped, [len(boot)]])
            # A stretch without a stamp is too long if its first message waits too long: then the
            # messages that do are timed by receipt, and the rest wait.
            until = np.append(accepted_s, now_s)[closing]
            lasting = until - np.append(receipt, now_s)[np.minimum(left + 1, len(boot))]
            overlong = np.flatnonzero((closing - left > 1) & (lasting > PATIENCE_S))
            done = int(left[overlong[0]] if len(overlong) else left[-1]) + 1
            if done:
                passed = stamped[stamped < done]
                parts.append(self._upto_stamp(receipt[:done], boot[:done], numbers[:done], passed))
            receipt, boot, numbers = receipt[done:], boot[done:], numbers[done:]
            accepted_s = accepted_s[done:]
            if not len(overlong):
                break
            limit = until[overlong[0]] - PATIENCE_S
            stretch = int(closing[overlong[0]]) - done
            overdue = int(np.searchsorted(receipt[:stretch], limit))
            parts.append(self._by_receipt(receipt[:overdue], numbers[:overdue]))
            receipt, boot, numbers = receipt[overdue:], boot[overdue:], numbers[overdue:]
            accepted_s = accepted_s[overdue:]
        self._waiting_receipt, self._waiting_sequence = receipt, numbers
        settled = len(self._suspect_s) - len(receipt)
        overdue_s = self._suspect_s[:settled][np.isfinite(self._suspect_s[:settled])]
        if len(overdue_s):
            # Timed by receipt, as its stamp was not believed; but the next is compared with it.
            self._seen_s = float(overdue_s[-1])
        self._suspect_s = self._suspect_s[settled:]
        return np.concatenate(parts) if parts else np.empty(0)

    def finish(self) -> FloatArray:
        """Return the times of the messages still waiting at the end of the stream."""
        waiting = self._waiting_receipt
        self._waiting_receipt = self._suspect_s = np.empty(0)
        self._waiting_sequence = np.empty(0, np.int64)
        return self._t_s + np.maximum(waiting - self._receipt_s, 0.0)

    def _by_receipt(self, receipt: FloatArray, numbers: Ints) -> FloatArray:
        """Time messages by receipt alone."""
        self._sent += int(_sent(numbers, self._sequence)[-1])
        t_s: FloatArray = self._t_s + (receipt - self._receipt_s)
        self._t_s, self._receipt_s = float(t_s[-1]), float(receipt[-1])
        self._sequence = int(numbers[-1])
        return t_s

    def _upto_stamp(
        self, receipt: FloatArray, boot: FloatArray, numbers: Ints, stamped: Ints
    ) -> FloatArray:
        """Time messages up to a stamped one, which is the last."""
        own = self._continuous(boot[stamped], receipt[stamped])
        # Messages may be sent in another order than stamped: time must not reverse for the others.
        anchors = np.maximum.accumulate(np.maximum(own, self._t_s))
        place = np.concatenate([[-1], stamped])
        at = np.concatenate([[self._t_s], anchors])
        sent = np.concatenate([[0], _sent(numbers, self._sequence)])
        t_s: FloatArray = np.interp(sent[1:], sent[place + 1], at)
        t_s[stamped] = own
        # Messages expected in each gap, by the rate before it.
        total = self._sent + sent[place + 1]
        rate = np.where(at > RATE_FROM_S, total / np.maximum(at, RATE_FROM_S), RATE_AT_FIRST_HZ)
        expected = rate[:-1] * np.diff(at)
        ambiguous = (expected > NUMBERS_MOST) & (np.diff(place) < ALL_CAME_FRACTION * expected)
        for n in np.flatnonzero((np.diff(place) > 1) & ambiguous).tolist():
            first, last = int(place[n]) + 1, int(place[n + 1])
            begin = float(receipt[first - 1]) if first else self._receipt_s
            span = float(receipt[last]) - begin
            if span > 0:
                share = (receipt[first:last] - begin) / span
                t_s[first:last] = at[n] + share * (at[n + 1] - at[n])
        self._t_s, self._receipt_s = float(anchors[-1]), float(receipt[-1])
        self._sequence, self._sent = int(numbers[-1]), self._sent + int(sent[-1])
        return t_s

    def _continuous(self, boot: FloatArray, receipt: FloatArray) -> FloatArray:
        """Convert boot clock readings to stream time, joined at restarts by receipt."""
        if self._offset_s is None:
            begin_s = self._t_s + float(receipt[0]) - self._receipt_s
            self._offset_s = begin_s - float(boot[0])
            self.began_boot_s = -self._offset_s
        t_s = np.empty(len(boot))
        n = 0
        while True:
            highest = np.maximum.accumulate(np.concatenate([[self._boot_s], boot[n:]]))
            back = boot[n:] < highest[:-1] - RESTART_S
            ahead = np.diff(boot[n:], prepend=self._boot_s)
            passed = np.diff(receipt[n:], prepend=receipt[n - 1] if n else self._receipt_s)
            was_set = np.isfinite(ahead) & (ahead > BUFFERED_MOST_S) & (passed * FASTEST < ahead)
            joints = np.flatnonzero(back | was_set)
            stop = n + int(joints[0]) if len(joints) else len(boot)
            t_s[n:stop] = boot[n:stop] + self._offset_s
            if not len(joints):
                self._boot_s = float(highest[-1])
                return t_s
            last_s = float(np.max(t_s[:stop], initial=self._t_s))
            last_receipt = float(receipt[stop - 1]) if stop else self._receipt_s
            self._offset_s = last_s + float(receipt[stop]) - last_receipt - float(boot[stop])
            self._boot_s = -np.inf
            self.restarts += 1
            self._off = [
                *self._off[-RESTARTS_MOST:],
                (last_s, last_s + float(receipt[stop]) - last_receipt),
            ]
            n = stop


def _sent(numbers: Ints, before: int) -> Ints:
    """Return the number of messages sent up to each, counted from the one numbered `before`."""
    steps = np.diff(numbers, prepend=before) & 255
    # Senders that do not count, and messages a few places late, advance by one.
    steps[(steps == 0) | (steps > 256 - LATE_MOST)] = 1
    return np.cumsum(steps)
