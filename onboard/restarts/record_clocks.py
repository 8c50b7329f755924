"""The autopilot's clocks at both ends of a record, and whether it kept running between records."""

import math
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

import numpy as np

from onboard.block import FloatArray
from onboard.dataclass import dataclass
from onboard.errors import LogError
from onboard.ride.learned_file import SAME_CLOCK_S, Clocks, kept_running
from onboard.telemetry.logs.log_files import find_log, log_bytes, opened
from onboard.telemetry.mavlink.frames import Frames
from onboard.telemetry.mavlink.layouts import layout
from onboard.telemetry.mavlink.log_scanner import LogScanner
from onboard.telemetry.messages.followed_craft import CraftFilter
from onboard.telemetry.messages.table import MESSAGES, boot_clock_s, clock
from onboard.telemetry.messages.timebase import RESTART_S

END_BYTES = 1 << 18
"""Bytes read at a record's beginning and end: half a minute of a busy link."""

UNKNOWN = Clocks(math.nan, math.nan, math.nan)


@dataclass(frozen=True)
class RecordClocks:
    """The autopilot's clocks at its first and last statement in a record; NaN where unknown."""

    first: Clocks = UNKNOWN
    last: Clocks = UNKNOWN

    @property
    def has_boot(self) -> bool:
        """Whether the autopilot stated how long it had been running."""
        return math.isfinite(self.last.boot_s)

    @property
    def has_utc(self) -> bool:
        """Whether the autopilot stated the time of day."""
        return math.isfinite(self.first.utc_s) or math.isfinite(self.last.utc_s)


def record_clocks(folder: Path, system_id: int | None = None) -> RecordClocks:
    """Read the autopilot's clocks at both ends of a record.

    Parameters
    ----------
    folder
        The session's folder.
    system_id
        MAVLink system to follow; None follows the one that sends most.
    """
    try:
        files = find_log(folder)
        with opened(files) as log:
            head = log.read(2 * END_BYTES)
            tail = log.tail(END_BYTES) if log_bytes(files) > len(head) else b""
    except (LogError, OSError):
        return RecordClocks()
    first, last = _ends(LogScanner().push(head, final=True), system_id)
    if tail:
        _, last = _ends(LogScanner(in_step=False).push(tail, final=True), system_id)
    return RecordClocks(first, last)


def _ends(frames: Frames, system_id: int | None) -> tuple[Clocks, Clocks]:
    """Return the clocks at the first and the last frame that states them."""
    craft = CraftFilter(system_id)
    stated = [_stated(part) for part in (*craft.push(frames), *craft.finish())]
    boot_s, utc_s = np.concatenate([np.empty((2, 0)), *stated], axis=1)
    if not len(boot_s):
        return UNKNOWN, UNKNOWN
    # Between two restarts the difference of the two clocks is constant.
    restarts = np.cumsum(np.diff(boot_s, prepend=boot_s[0]) < -RESTART_S)
    began_s = utc_s - boot_s

    def clocks(at: int) -> Clocks:
        alike = began_s[(restarts == restarts[at]) & np.isfinite(began_s)]
        utc_s = boot_s[at] + alike[at] if len(alike) else math.nan
        return Clocks(float(boot_s[at]), float(utc_s), math.nan)

    return clocks(0), clocks(-1)


def _stated(part: Frames) -> FloatArray:
    """Return boot clock and time of day [s] of the frames that state a boot clock, shape (2, n)."""
    boot_s, utc_s = np.full(len(part), np.nan), np.full(len(part), np.nan)
    for message_id, place in part.by_message():
        message = MESSAGES.get(message_id)
        if message is not None and message.boot_clock:
            rows = part.rows(layout(message_id), place)
            boot_s[place] = boot_clock_s(rows)
            if message.convert is clock:
                utc_s[place] = clock(rows)["utc_s"]
    return np.stack([boot_s, utc_s])[:, boot_s > 0]


def kept_running_between(records: Sequence[RecordClocks]) -> list[bool]:
    """Return whether the autopilot kept running between successive records.

    Parameters
    ----------
    records
        Clocks of successive records, each with a boot clock.

    Returns
    -------
    list of bool
        For each pair of neighbours: one fewer than records.

    Notes
    -----
    A short record may lack the time of day. Then the nearest records before and after it that have
    one decide: if they agree, the autopilot kept running throughout. If they do not, and no boot
    clock goes back, it was restarted in the longest gap between the records.
    """
    same = [kept_running(before.last, after.first) for before, after in pairwise(records)]
    with_utc = [place for place, record in enumerate(records) if record.has_utc]
    for begin, end in pairwise(with_utc):
        if end - begin == 1:
            continue
        if _agree(records[begin].last, records[end].first):
            same[begin:end] = [True] * (end - begin)
        elif all(same[begin:end]):
            gap_s = [
                records[n + 1].first.boot_s - records[n].last.boot_s for n in range(begin, end)
            ]
            same[begin + int(np.argmax(gap_s))] = False
    return same


def _agree(before: Clocks, after: Clocks) -> bool:
    """Whether two statements put the autopilot's start at the same time of day."""
    apart_s = (after.utc_s - after.boot_s) - (before.utc_s - before.boot_s)
    return abs(apart_s) < SAME_CLOCK_S and after.boot_s >= before.boot_s - 1.0
