"""The clock of a raw MAVLink stream: stamps for its frames, from the times that messages state."""

import numpy as np

from onboard.block import FloatArray
from onboard.telemetry.logs.boot_clock import BootClock
from onboard.telemetry.mavlink import headers
from onboard.telemetry.mavlink.checksum import Ints
from onboard.telemetry.mavlink.frames import Frames
from onboard.telemetry.mavlink.layouts import UNKNOWN_ID, crc_extras, layout
from onboard.telemetry.messages.table import MESSAGES


class SentClock:
    """Make stamps from the clock of one sender, chosen from the first frames that state any.

    The sender whose `time_boot_ms` comes most often is followed. Without one it is the sender and
    message whose `time_usec` comes most often: since boot or in Unix time, as only steps count.
    """

    def __init__(self) -> None:
        self._sender: int | None = None
        self._message: int | None = None
        """The one message followed, if only `time_usec` is stated."""
        self._clock = BootClock()
        self._waiting = 0
        self._now_s = 0.0

    @property
    def found(self) -> bool:
        """Whether a clock has been found."""
        return self._sender is not None

    def stamps_us(self, frames: Frames, *, final: bool = False) -> Ints:
        """Return the stamps of the next frames [us since the first stamped one], shape (n,)."""
        if self._sender is None:
            self._choose(frames)
        place, stated_s = self._stated(frames)
        t_s = self._clock.push(stated_s, final=final)
        before, t_s = t_s[: self._waiting], t_s[self._waiting :]
        self._waiting += len(stated_s) - len(before) - len(t_s)
        begin_s = float(np.nanmax(before, initial=self._now_s))
        steps = np.full(len(frames), begin_s)
        place = place[: len(t_s)]
        # A message out of order, or a damaged stamp, does not reverse time.
        steps[place] = np.fmax(t_s, begin_s)
        reached = np.maximum.accumulate(steps) if len(steps) else steps
        self._now_s = float(reached[-1]) if len(reached) else begin_s
        stamps: Ints = np.rint(reached * 1e6).astype(np.int64)
        return stamps

    def _choose(self, frames: Frames) -> None:
        counts: dict[tuple[int, int, int | None], int] = {}
        for number, place, stated in _clocks(frames):
            senders = _senders(frames, place)
            for sender in np.unique(senders).tolist():
                own = stated[senders == sender]
                if len(own) > 1 and own.max() == own.min():
                    continue
                in_ms = _clock_field(number) == _MILLISECONDS
                key = (int(in_ms), sender, None if in_ms else number)
                counts[key] = counts.get(key, 0) + len(own)
        if counts:
            _, self._sender, self._message = max(counts, key=lambda key: (key[0], counts[key]))

    def _stated(self, frames: Frames) -> tuple[Ints, FloatArray]:
        """Return the indices of the frames that state the followed clock, and what they state."""
        places: list[Ints] = [np.empty(0, np.int64)]
        values: list[FloatArray] = [np.empty(0)]
        for number, place, stated in _clocks(frames) if self._sender is not None else ():
            in_ms = _clock_field(number) == _MILLISECONDS
            if not (in_ms if self._message is None else number == self._message):
                continue
            mine = _senders(frames, place) == self._sender
            places.append(place[mine])
            values.append(stated[mine] * (1e-3 if in_ms else 1e-6))
        place, value = np.concatenate(places), np.concatenate(values)
        order = np.argsort(place, kind="stable")
        return place[order], value[order]


def _senders(frames: Frames, place: Ints) -> Ints:
    return headers.senders(frames.word.take(place))


_MILLISECONDS, _MICROSECONDS = "time_boot_ms", "time_usec"


def _clock_field(number: int) -> str | None:
    """Return the field of a message that states the time of sending, None if it has none."""
    message = MESSAGES.get(number)
    if message is not None and message.boot_clock:
        return _MILLISECONDS
    if crc_extras()[number] == UNKNOWN_ID:
        return None
    names = layout(number).fields.names or ()
    return next((name for name in (_MILLISECONDS, _MICROSECONDS) if name in names), None)


def _clocks(frames: Frames) -> list[tuple[int, Ints, FloatArray]]:
    """Return the messages that state a time: number, indices of the frames, raw values."""
    found = []
    for number, place in frames.by_message():
        if (field := _clock_field(number)) is not None:
            stated = frames.rows(layout(number), place)[field].astype(np.float64)
            # Zero: the clock is not running.
            runs = np.flatnonzero(stated > 0)
            found.append((number, place[runs], stated[runs]))
    return found
