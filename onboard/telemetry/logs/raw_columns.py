"""The messages of a whole telemetry log as columns, field by field as they were sent.

For tools that want raw fields; figures are computed from the SI columns of `messages.decoder`.
"""

from collections.abc import Collection
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray
from onboard.dataclass import dataclass
from onboard.errors import UsageError
from onboard.telemetry.logs.log_files import Progress
from onboard.telemetry.logs.telemetry_log import WINDOW_BYTES, read_log
from onboard.telemetry.mavlink import headers
from onboard.telemetry.mavlink.checksum import Flags, Ints
from onboard.telemetry.mavlink.frames import Frames
from onboard.telemetry.mavlink.layouts import (
    ID_LIMIT,
    UNKNOWN_ID,
    Layout,
    crc_extras,
    layout,
    message_name,
    message_number,
)

Small = npt.NDArray[np.uint8]


@dataclass(frozen=True)
class Messages:
    """All messages of one kind in a log, in order. All arrays have shape (n,).

    Parameters
    ----------
    stamp_us
        Time of receipt [us since the Unix epoch].
    system_id, component_id
        The sender of each.
    rows
        Structured array of the message's fields as sent: raw units, in wire order; fields that the
        sender left out read as zero, texts as bytes.
    """

    stamp_us: Ints
    system_id: Small
    component_id: Small
    rows: npt.NDArray[Any]

    def __len__(self) -> int:
        """Return the number of messages."""
        return len(self.stamp_us)

    @property
    def stamp_s(self) -> FloatArray:
        """Time of receipt [s since the Unix epoch]."""
        return self.stamp_us.astype(np.float64) * 1e-6

    @property
    def nbytes(self) -> int:
        """Memory of the columns [bytes]."""
        columns = (self.stamp_us, self.system_id, self.component_id, self.rows)
        return sum(column.nbytes for column in columns)


def read_messages(
    path: Path,
    names: Collection[str] | None = None,
    *,
    window_bytes: int = WINDOW_BYTES,
    progress: Progress | None = None,
) -> dict[str, Messages]:
    """Read messages of a telemetry log into columns.

    Every message has passed its checksum. Memory is that of the columns and a few windows.

    Parameters
    ----------
    path
        The log, or a session's folder.
    names
        Names of the messages in the MAVLink definitions; None: all that are known.
    window_bytes
        Bytes to read at a time; the result does not depend on it.
    progress
        Called after each window with the bytes read so far.

    Returns
    -------
    dict of str to Messages
        By message name; no entry for messages that the log does not hold.

    Raises
    ------
    UsageError
        If no definition has a message of a name.
    LogError
        If the file cannot be read, or holds no MAVLink frame.

    Examples
    --------
    >>> log = read_messages(Path("replay_logs/harbour_loop.tlog"), ["GPS_RAW_INT"])
    >>> int(log["GPS_RAW_INT"].rows["vel"].max()) < 500
    True
    """
    wanted = None if names is None else _wanted([names] if isinstance(names, str) else names)
    grown: dict[int, _GrowingMessages] = {}
    for frames in read_log(path, window_bytes, wanted=wanted, progress=progress):
        for number, place in frames.by_message():
            if crc_extras()[number] == UNKNOWN_ID:
                continue
            if number not in grown:
                grown[number] = _GrowingMessages(layout(number))
            grown[number].extend(frames, place)
    return {message_name(number): columns.finished() for number, columns in sorted(grown.items())}


def _wanted(names: Collection[str]) -> Flags:
    wanted = np.zeros(ID_LIMIT, np.bool_)
    for name in names:
        number = message_number(name)
        if number is None:
            raise UsageError(f"no MAVLink message is called {name}")
        wanted[number] = True
    return wanted


class _GrowingMessages:
    """Columns of one message that grow in place: the system moves large ones without copying."""

    def __init__(self, message: Layout) -> None:
        self._layout = message
        # Rows are moved whole: field by field would take far longer.
        kinds = (np.int64, np.uint8, np.uint8, f"V{message.fields.itemsize}")
        self._columns: list[npt.NDArray[Any]] = [np.empty(0, kind) for kind in kinds]
        self._count = 0

    def extend(self, frames: Frames, place: Ints) -> None:
        word = frames.word.take(place)
        parts: tuple[npt.NDArray[Any], ...] = (
            frames.stamp_us.take(place),
            headers.system_ids(word),
            headers.component_ids(word),
            frames.rows(self._layout, place).view(self._columns[3].dtype),
        )
        count = self._count + len(place)
        for column, part in zip(self._columns, parts, strict=True):
            if count > len(column):
                column.resize(max(len(column) * 9 // 8, count), refcheck=False)
            column[self._count : count] = part
        self._count = count

    def finished(self) -> Messages:
        for column in self._columns:
            column.resize(self._count, refcheck=False)
        stamp_us, system_id, component_id, rows = self._columns
        return Messages(stamp_us, system_id, component_id, rows.view(self._layout.fields))
