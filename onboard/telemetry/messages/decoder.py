"""Frames in, blocks out: the one decoder for live links and saved logs."""

import numpy as np

from onboard.block import Block, Channel, FloatArray
from onboard.telemetry.mavlink.checksum import Ints
from onboard.telemetry.mavlink.frames import Frames
from onboard.telemetry.mavlink.layouts import layout
from onboard.telemetry.messages.followed_craft import CraftFilter
from onboard.telemetry.messages.table import MESSAGES, Columns, boot_clock_s
from onboard.telemetry.messages.timebase import LATE_MOST, TimeBase

_Part = tuple[str, Ints, Columns]
"""A channel's name, the message number of each sample, and the columns."""


class Decoder:
    """Decode the frames of one craft into blocks of SI columns on the stream's time base.

    Parameters
    ----------
    system_id
        The MAVLink system to follow; None follows the autopilot that sends most.
    """

    def __init__(self, system_id: int | None = None) -> None:
        self.craft = CraftFilter(system_id)
        self.time = TimeBase()
        self.messages = 0
        """Frames of the followed autopilot."""
        self.lost = 0
        """Lost frames of it, counted by sequence numbers."""
        self._last_sequence: int | None = None
        self._settled = 0
        self._waiting: list[_Part] = []

    def push(self, frames: Frames) -> Block:
        """Return the samples whose time is settled; later ones wait for the next stamp."""
        return self._release(self._take(self.craft.push(frames)))

    def silence(self, now_us: int) -> Block:
        """Return the samples settled by the silence of the link until now.

        Parameters
        ----------
        now_us
            Present time by the clock that stamps the frames [us].
        """
        settled = self._take(self.craft.silence(now_us))
        return self._release([*settled, self.time.silence(now_us * 1e-6)])

    def finish(self) -> Block:
        """Return the samples still waiting at the end of the stream."""
        settled = self._take(self.craft.finish())
        return self._release([*settled, self.time.finish()])

    def _take(self, parts: list[Frames]) -> list[FloatArray]:
        """Decode frames of the followed autopilot; return the stream times that they settle."""
        settled: list[FloatArray] = []
        for part in parts:
            if len(part):
                self._count_lost(part.sequence)
                boot_s = np.full(len(part), np.nan)
                self._waiting += _channels(part, self.messages, boot_s)
                self.messages += len(part)
                receipt_s = part.stamp_us.astype(np.float64) * 1e-6
                settled.append(self.time.push(receipt_s, boot_s, part.sequence))
        return settled

    def _count_lost(self, sequence: Ints) -> None:
        if self._last_sequence is None:
            self._last_sequence = int(sequence[0]) - 1
        missed = (np.diff(sequence, prepend=self._last_sequence) - 1) & 255
        self.lost += int(missed[missed < 256 - LATE_MOST].sum())
        self._last_sequence = int(sequence[-1])

    def _release(self, settled: list[FloatArray]) -> Block:
        t_s = np.concatenate(settled) if settled else np.empty(0)
        if not len(t_s):
            return Block()
        end = self._settled + len(t_s)
        ready: dict[str, list[tuple[Ints, Columns]]] = {}
        waiting: list[_Part] = []
        for name, number, columns in self._waiting:
            count = int(np.searchsorted(number, end))
            if count:
                now = {key: column[:count] for key, column in columns.items()}
                ready.setdefault(name, []).append((number[:count], now))
            if count < len(number):
                later = {key: column[count:] for key, column in columns.items()}
                waiting.append((name, number[count:], later))
        channels = {name: _joined(parts, t_s, self._settled) for name, parts in ready.items()}
        self._settled, self._waiting = end, waiting
        return Block(channels)


def _channels(frames: Frames, first_number: int, boot_s: FloatArray) -> list[_Part]:
    """Decode the messages of the table among frames of one autopilot.

    Writes the boot clock [s] of the frames that carry it into `boot_s`.
    """
    parts: list[_Part] = []
    for message_id, place in frames.by_message():
        message = MESSAGES.get(message_id)
        if message is None:
            continue
        rows = frames.rows(layout(message_id), place)
        if message.boot_clock:
            boot_s[place] = boot_clock_s(rows)
        if message.convert is not None:
            columns, number = message.convert(rows), place + first_number
            if message.samples > 1:
                number = np.repeat(number, message.samples)
            if message.present:
                fitted = np.isfinite(columns[message.present])
                number = number[fitted]
                columns = {key: column[fitted] for key, column in columns.items()}
            parts.append((message.channel, number, columns))
    return parts


def _joined(parts: list[tuple[Ints, Columns]], t_s: FloatArray, settled: int) -> Channel:
    """Concatenate parts of one channel in order of arrival."""
    if len(parts) == 1:
        number, columns = parts[0]
        return Channel(t_s[number - settled], columns)
    number = np.concatenate([part[0] for part in parts])
    order = np.argsort(number, kind="stable")
    columns = {key: np.concatenate([part[1][key] for part in parts])[order] for key in parts[0][1]}
    return Channel(t_s[number[order] - settled], columns)
