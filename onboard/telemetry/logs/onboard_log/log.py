"""An on-board log as blocks of channels, and the facts that are known when all of it is read."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from onboard.block import Block
from onboard.telemetry.logs.onboard_log import modes, record_channels
from onboard.telemetry.logs.onboard_log.boot_clock import BootClock
from onboard.telemetry.logs.onboard_log.fields import Fields
from onboard.telemetry.logs.onboard_log.receivers import Fixes, followed_receiver
from onboard.telemetry.logs.onboard_log.record_layouts import HEADER_BYTES
from onboard.telemetry.logs.onboard_log.waiting_samples import Part, Waiting
from onboard.telemetry.logs.onboard_log.windows import WINDOW_BYTES, Window, windows
from onboard.telemetry.mavlink.checksum import Ints

_STAMP = np.dtype("<u8")


@dataclass(frozen=True)
class Facts:
    """What a log tells besides its channels.

    Parameters
    ----------
    messages
        How many records it holds.
    bad_bytes
        How many bytes are part of none.
    first_utc_s
        Unix time at stream time zero [s], None where no GPS receiver told it.
    duration_s
        Stream time of the last record [s].
    batteries, receivers
        Instances that there are records of.
    parameters
        Value of each parameter, the last one written.
    texts
        The autopilot's texts, with stream time [s].
    modes
        Modes entered, with stream time [s]: a name, or the number where the log has no name.
    """

    messages: int = 0
    bad_bytes: int = 0
    first_utc_s: float | None = None
    duration_s: float = 0.0
    batteries: tuple[int, ...] = ()
    receivers: tuple[int, ...] = ()
    parameters: Mapping[str, float] = field(default_factory=dict)
    texts: list[tuple[float, str]] = field(default_factory=list)
    modes: list[tuple[float, str | int]] = field(default_factory=list)


class OnboardLog:
    """An on-board log.

    Parameters
    ----------
    path
        The file.

    Raises
    ------
    LogError
        While it is read: if it cannot be, or holds no record.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.facts = Facts()
        """Complete when the last block is read."""

    def blocks(
        self,
        window_bytes: int = WINDOW_BYTES,
        *,
        progress: Callable[[int], None] | None = None,
    ) -> Iterator[Block]:
        """Return the log's channels, from its beginning, one block a window.

        Parameters
        ----------
        window_bytes
            How much to read at a time [bytes]; the samples do not depend on it.
        progress
            Called after each window with how many bytes are read.
        """
        reading = _Reading(followed_receiver(self.path, window_bytes))
        for window in windows(self.path, window_bytes, progress=progress):
            block = reading.push(window)
            if block.channels:
                yield block
        block = reading.finish()
        if block.channels:
            yield block
        self.facts = reading.facts()


class _Reading:
    """One passage through a log."""

    def __init__(self, receiver: int) -> None:
        self._clock = BootClock()
        self._fixes = Fixes(receiver)
        self._modes = modes.Modes()
        self._waiting = Waiting()
        self._timed = self._messages = self._bad_bytes = 0
        self._estimator: str | None = None
        self._first_utc_s: float | None = None
        self._batteries: set[int] = set()
        self._parameters: dict[str, float] = {}
        # Number of the timed record, and what it says; with stream time once that is settled.
        self._said: list[tuple[int, str, Any]] = []
        self._texts: list[tuple[float, str]] = []
        self._entered: list[tuple[float, str | int]] = []

    def push(self, window: Window) -> Block:
        """Take the next window; give the samples that are settled."""
        self._messages += len(window)
        self._bad_bytes += window.bad_bytes
        timed = np.array([layout is not None and layout.timed for layout in window.layouts])
        has_time = timed.take(window.number)
        time_us = window.bytes_at(window.start[has_time] + HEADER_BYTES, _STAMP).view(np.int64)
        number = self._timed + np.cumsum(has_time) - 1
        parts = self._parts(window, timed, number, time_us)
        self._timed += len(time_us)
        return self._release(parts, time_us, final=False)

    def finish(self) -> Block:
        """Return the samples that still wait when the log ends."""
        return self._release([], np.empty(0, np.int64), final=True)

    def _release(self, parts: list[Part], time_us: Ints, *, final: bool) -> Block:
        t_s = self._clock.push(time_us.astype(np.float64) * 1e-6, final=final)
        fixes, complete = self._fixes.settle(self._timed, final=final)
        self._waiting.add(parts + fixes, t_s)
        until = min(self._waiting.settled, complete)
        self._time_what_was_said(until)
        block = self._waiting.release(until)
        self._first_utc(block)
        return block

    def _parts(
        self, window: Window, timed: "np.ndarray[Any, Any]", number: Ints, time_us: Ints
    ) -> list[Part]:
        """Decode the records of a window that fill a channel; note what else they say."""
        parts: list[Part] = []
        beats: list[tuple[Fields, Ints]] = []
        for index, layout in enumerate(window.layouts):
            if layout is None or not (timed[index] or layout.name == "PARM"):
                continue
            if not (layout.name in record_channels.CONVERT or layout.name in _OTHERS):
                continue
            places = window.places(index)
            if not len(places):
                continue
            fields, mine = Fields(layout, window.rows(index, places)), number.take(places)
            if layout.name in record_channels.CONVERT:
                parts += self._converted(fields, mine)
            elif layout.name in record_channels.RECEIVERS + record_channels.ACCURACIES:
                parts += self._fixes.push(fields, mine, time_us[mine - self._timed])
            elif layout.name in modes.RECORDS:
                beats.append((fields, mine))
            self._note(fields, mine)
        if beats:
            parts.append(self._modes.part(beats))
        return parts

    def _converted(self, fields: Fields, number: Ints) -> list[Part]:
        channel, convert = record_channels.CONVERT[fields.name]
        part = Part(channel, number, convert(fields))
        if channel == "battery":
            self._batteries |= {int(pack) for pack in np.unique(part.columns["pack"])}
        elif channel == "drive":
            # A motor without a voltage is not fitted.
            part = part.where(np.isfinite(part.columns["volts_v"]))
        elif channel == "fused":
            # Several estimators may run side by side; the first core of one of them is followed.
            self._estimator = self._estimator or fields.name
            core = fields.get("C")
            mine = ~(core > 0) & (fields.name == self._estimator)
            part = part.where(mine)
        return [part]

    def _note(self, fields: Fields, number: Ints) -> None:
        if fields.name == "PARM":
            names = fields.texts("Name") or []
            self._parameters |= dict(zip(names, fields.get("Value").tolist(), strict=False))
        elif fields.name == "MSG":
            texts = fields.texts("Message") or []
            self._said += [(n, "MSG", one) for n, one in zip(number.tolist(), texts, strict=False)]
        elif fields.name == "MODE":
            stated = zip(number.tolist(), modes.stated_modes(fields), strict=True)
            self._said += [(n, "MODE", one) for n, one in stated if one is not None]

    def _time_what_was_said(self, until: int) -> None:
        later = []
        for one in self._said:
            n, name, what = one
            if n >= until:
                later.append(one)
                continue
            t_s = float(self._waiting.times_s(np.array([n]))[0])
            if np.isfinite(t_s):
                (self._texts if name == "MSG" else self._entered).append((t_s, what))
        self._said = later

    def _first_utc(self, block: Block) -> None:
        clock = block.get("clock")
        if self._first_utc_s is None and clock is not None:
            known = np.flatnonzero(np.isfinite(clock["utc_s"]))
            if len(known):
                first = known[0]
                self._first_utc_s = float(clock["utc_s"][first] - clock.t_s[first])

    def facts(self) -> Facts:
        """Return what is known when all is read."""
        return Facts(
            self._messages,
            self._bad_bytes,
            self._first_utc_s,
            self._clock.highest_s,
            tuple(sorted(self._batteries)),
            tuple(sorted(self._fixes.heard)),
            self._parameters,
            self._texts,
            self._entered,
        )


_OTHERS = frozenset(
    (*record_channels.RECEIVERS, *record_channels.ACCURACIES, *modes.RECORDS, "PARM", "MSG")
)
