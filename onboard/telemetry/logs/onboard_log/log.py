"""An on-board log as blocks of channels, and its facts once all of it has been read."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from onboard.block import Block
from onboard.errors import LogError
from onboard.telemetry.logs.boot_clock import BootClock
from onboard.telemetry.logs.log_files import LogFacts, Progress, content_facts
from onboard.telemetry.logs.onboard_log import modes, record_channels
from onboard.telemetry.logs.onboard_log.fields import Fields
from onboard.telemetry.logs.onboard_log.receivers import Fixes, followed_receiver
from onboard.telemetry.logs.onboard_log.record_layouts import HEADER_BYTES, RecordClock
from onboard.telemetry.logs.onboard_log.waiting_samples import ChannelSamples, Waiting
from onboard.telemetry.logs.onboard_log.windows import WINDOW_BYTES, Window, windows
from onboard.telemetry.mavlink.checksum import Flags, Ints

NO_CLOCK = (
    "{}: an on-board log without a clock: none of its {} records states a time since boot "
    "(TimeUS, TimeMS)"
)

_STAMP = np.dtype("<u8")

_DECODED = frozenset(
    (
        *record_channels.CONVERT,
        *record_channels.RECEIVERS,
        *record_channels.ACCURACIES,
        *modes.RECORDS,
    )
)
"""Names of the records that fill a channel."""


class OnboardLog:
    """A whole on-board log; see `formats.SavedLog`.

    Parameters
    ----------
    path
        The file.
    """

    format = "onboard"

    def __init__(self, path: Path) -> None:
        self.path = path
        self._facts = LogFacts(self.format, 0, 0, None, 0.0, 0)

    def parts(
        self, progress: Progress | None = None, *, window_bytes: int = WINDOW_BYTES
    ) -> Iterator[Block]:
        """Return the log's channels from its beginning, one block a window.

        Parameters
        ----------
        progress
            Called after each window with the bytes read so far.
        window_bytes
            Bytes to read at a time; the samples do not depend on it.

        Raises
        ------
        LogError
            If the file cannot be read, or holds no record, or none that states a time.
        """
        passage = _Passage(followed_receiver(self.path, window_bytes))
        for window in windows(self.path, window_bytes, progress=progress):
            block = passage.push(window)
            if block.channels:
                yield block
        block = passage.finish()
        if block.channels:
            yield block
        self._facts = passage.facts(self.path)
        if not passage.timed:
            raise LogError(NO_CLOCK.format(self.path, self._facts.messages))

    def facts(self) -> LogFacts:
        """Return the facts of the log; complete once all parts have been read."""
        return self._facts

    def length_s(self) -> float:
        """Return the duration of the log [s]; reads all of it."""
        for _ in self.parts():
            pass
        return self._facts.duration_s


class _Passage:
    """One passage through a log."""

    def __init__(self, receiver: int) -> None:
        self._clock = BootClock()
        self._fixes = Fixes(receiver)
        self._modes = modes.Modes()
        self._waiting = Waiting()
        self._messages = self._bad_bytes = 0
        self.timed = 0
        """Number of records with a time so far."""
        self._estimator: str | None = None
        self._first_utc_s: float | None = None

    def push(self, window: Window) -> Block:
        """Decode the next window; return the samples that are settled."""
        self._messages += len(window)
        self._bad_bytes += window.bad_bytes
        clocks = [None if layout is None else layout.clock for layout in window.layouts]
        timed = np.array([clock is not None for clock in clocks])
        has_time = timed.take(window.number)
        time_us = self._times_us(window, clocks, has_time)
        number = self.timed + np.cumsum(has_time) - 1
        parts = self._parts(window, timed, number, time_us)
        self.timed += len(time_us)
        return self._release(parts, time_us, final=False)

    def _times_us(self, window: Window, clocks: list[RecordClock | None], has_time: Flags) -> Ints:
        """Return the boot clock of the timed records [us], shape (m,)."""
        start = window.start[has_time] + HEADER_BYTES
        if all(clock is None or clock.tick_us == 1 for clock in clocks):
            # The first field.
            return window.bytes_at(start, _STAMP).view(np.int64)
        offset, tick_us = np.zeros((2, len(clocks)), np.int64)
        for n, (layout, clock) in enumerate(zip(window.layouts, clocks, strict=True)):
            if layout is not None and clock is not None:
                offset[n], tick_us[n] = layout.offset(clock.name), clock.tick_us
        number = window.number[has_time]
        start += offset.take(number)
        ticks = window.bytes_at(start, _STAMP).view(np.int64)
        short = tick_us.take(number) > 1
        ticks[short] &= 0xFFFF_FFFF
        return ticks * tick_us.take(number)

    def finish(self) -> Block:
        """Return the samples still waiting at the end of the log."""
        return self._release([], np.empty(0, np.int64), final=True)

    def _release(self, parts: list[ChannelSamples], time_us: Ints, *, final: bool) -> Block:
        t_s = self._clock.push(time_us.astype(np.float64) * 1e-6, final=final)
        fixes, complete = self._fixes.settle(self.timed, final=final)
        self._waiting.add(parts + fixes, t_s)
        block = self._waiting.release(min(self._waiting.settled, complete))
        self._note_utc(block)
        return block

    def _parts(
        self, window: Window, timed: "np.ndarray[Any, Any]", number: Ints, time_us: Ints
    ) -> list[ChannelSamples]:
        """Decode the records of a window that fill a channel."""
        parts: list[ChannelSamples] = []
        mode_records: list[tuple[Fields, Ints]] = []
        for index, layout in enumerate(window.layouts):
            if layout is None or not timed[index] or layout.name not in _DECODED:
                continue
            places = window.places(index)
            if not len(places):
                continue
            fields, mine = Fields(layout, window.rows(index, places)), number.take(places)
            if layout.name in record_channels.CONVERT:
                parts.append(self._converted(fields, mine))
            elif layout.name in modes.RECORDS:
                mode_records.append((fields, mine))
            else:
                parts += self._fixes.push(fields, mine, time_us[mine - self.timed])
        if mode_records:
            parts.append(self._modes.part(mode_records))
        return parts

    def _converted(self, fields: Fields, number: Ints) -> ChannelSamples:
        channel, convert = record_channels.CONVERT[fields.name]
        part = ChannelSamples(channel, number, convert(fields))
        if channel == "drive":
            # A motor without a voltage is not fitted.
            part = part.where(np.isfinite(part.columns["volts_v"]))
        elif channel == "fused":
            # Several estimators may run side by side; the first core of one of them is followed.
            self._estimator = self._estimator or fields.name
            part = part.where(~(fields.get("C") > 0) & (fields.name == self._estimator))
        return part

    def _note_utc(self, block: Block) -> None:
        clock = block.get("clock")
        if self._first_utc_s is None and clock is not None:
            known = np.flatnonzero(np.isfinite(clock["utc_s"]))
            if len(known):
                first = known[0]
                self._first_utc_s = float(clock["utc_s"][first] - clock.t_s[first])

    def facts(self, path: Path) -> LogFacts:
        """Return the facts, once all of the log has been read."""
        size_bytes, damage = content_facts([path])
        return LogFacts(
            OnboardLog.format,
            self._messages,
            self._bad_bytes,
            self._first_utc_s,
            self._clock.highest_s,
            size_bytes,
            tuple(sorted(self._fixes.instances)),
            archive_damage=damage,
        )
