"""The table of log formats, one row each, and the one way to open a saved log.

To add a format, add a file or folder with its `SavedLog` beside this module, and its row here.
"""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Protocol

from onboard.block import Block
from onboard.dataclass import dataclass
from onboard.errors import LogError
from onboard.telemetry.logs.cursors import BlockCursor, Cursor, FrameCursor
from onboard.telemetry.logs.log_files import LogFacts, Progress, find_log, opened
from onboard.telemetry.logs.onboard_log import OnboardLog, looks_like_onboard_log
from onboard.telemetry.logs.onboard_log.record_channels import CONVERT, RECEIVERS
from onboard.telemetry.logs.raw_stream import RawScanner, RawStream, looks_like_raw_stream
from onboard.telemetry.logs.telemetry_log import TelemetryLog
from onboard.telemetry.mavlink.frames import Frames
from onboard.telemetry.messages.decoder import Decoder
from onboard.telemetry.messages.table import MESSAGES

ARCHIVES = (".gz", ".zip")

HEAD_BYTES = 16_384
"""Bytes at the start of a file by which its format is recognised."""


class SavedLog(Protocol):
    """A log on disk."""

    @property
    def path(self) -> Path:
        """The log, or a session's folder, as given."""

    def parts(self, progress: Progress | None = None) -> Iterator[Frames | Block]:
        """Return the contents in order: frames, or blocks of channels.

        Raises
        ------
        LogError
            If the file cannot be read, or is no log.
        """

    def facts(self) -> LogFacts:
        """Return the facts of the parts read so far."""

    def length_s(self) -> float:
        """Return the duration of the log [s]."""


@dataclass(frozen=True)
class LogFormat:
    """One row of the table.

    Parameters
    ----------
    name
        Name of the format, as in `LogFacts.format`.
    open
        Opens the log, or the session's folder, at a path.
    cursor
        Returns a cursor at the start of the log at a path: how a replay walks through it.
    recognise
        Returns whether a file with these first bytes is of this format. None: any file that no row
        above recognises, because junk of any length may precede its first frame.
    suffix
        File name suffix that is enough to take a file for a log, in lower case.
    no_stream
        Why it cannot be played as a live link; empty if it can.
    title
        What a log of this format is, in words.
    measured_by
        Names of the messages or records that state power or speed.
    """

    name: str
    open: Callable[[Path], SavedLog]
    cursor: Callable[[Path], Cursor]
    recognise: Callable[[bytes], bool] | None = None
    suffix: str = ""
    no_stream: str = ""
    title: str = "a telemetry log"
    measured_by: tuple[str, ...] = ()

    def without_power_or_speed(self, count: int) -> str:
        """Return what to say of a log that holds neither.

        Parameters
        ----------
        count
            Number of its frames or records.
        """
        *names, last = self.measured_by
        return f"{self.title} without power or speed: no {', '.join(names)} or {last} in {count:,}"


def _onboard_log(path: Path) -> OnboardLog:
    return OnboardLog(find_log(path)[0])


POWER_AND_SPEED = ("power", "battery", "gps", "fused")
"""Channels that state power or speed."""

_MESSAGES = tuple(row.name for row in MESSAGES.values() if row.channel in POWER_AND_SPEED)
_RECORDS = (
    *(name for name, (channel, _) in CONVERT.items() if channel in POWER_AND_SPEED),
    *RECEIVERS,
)

FORMATS = (
    LogFormat(
        name=OnboardLog.format,
        open=_onboard_log,
        cursor=lambda path: BlockCursor(_onboard_log(path).parts()),
        recognise=looks_like_onboard_log,
        no_stream="an on-board log holds no MAVLink stream: replay or review it",
        title="an on-board log",
        measured_by=_RECORDS,
    ),
    LogFormat(
        name=RawStream.format,
        open=RawStream,
        cursor=lambda path: FrameCursor(path, RawScanner),
        recognise=looks_like_raw_stream,
        no_stream="a raw stream holds no stamps of its pace: replay or review it",
        title="a raw MAVLink stream",
        measured_by=_MESSAGES,
    ),
    LogFormat(
        name=TelemetryLog.format,
        open=TelemetryLog,
        cursor=FrameCursor,
        suffix=".tlog",
        measured_by=_MESSAGES,
    ),
)
"""The table, in the order in which formats are tried."""


def format_of(path: Path) -> LogFormat:
    """Return the format of a log, recognised by its content.

    Parameters
    ----------
    path
        The log, or a session's folder.

    Raises
    ------
    LogError
        If no format matches, or the log is empty or cannot be read.
    """
    with opened(find_log(path)) as log:
        head = log.read(HEAD_BYTES)
    if not head:
        raise LogError(f"{path}: an archive with nothing in it: expected a log")
    return next(row for row in FORMATS if row.recognise is None or row.recognise(head))


def is_log(path: Path) -> bool:
    """Return whether a file is a log, by its suffix or its first bytes."""
    suffixes = {row.suffix for row in FORMATS if row.suffix}
    if path.suffix.lower() in suffixes:
        return True
    try:
        if path.suffix.lower() in ARCHIVES:
            from onboard.telemetry.logs.archives import inner_name

            if Path(inner_name(path)).suffix.lower() in suffixes:
                return True
        return format_of(path).recognise is not None
    except LogError:  # empty or unreadable: no evidence that it is one
        return False


def open_log(path: Path) -> SavedLog:
    """Open a log, or a session's folder; raises as `format_of`."""
    return format_of(path).open(path)


def open_cursor(path: Path) -> tuple[Cursor, float]:
    """Return a cursor at the start of a log, and the duration of the log [s].

    Raises
    ------
    LogError
        If the log cannot be read.
    """
    row = format_of(path)
    length_s = row.open(path).length_s()
    return row.cursor(path), length_s


def blocks_of(log: SavedLog, decoder: Decoder, progress: Progress | None = None) -> Iterator[Block]:
    """Return the whole of a log as blocks, whatever its format.

    Parameters
    ----------
    log
        The log.
    decoder
        Decodes its frames, if it holds frames.
    progress
        Called as the log is read, with the bytes read so far.

    Raises
    ------
    LogError
        If the file cannot be read, or is no log.
    """
    for part in log.parts(progress):
        yield part if isinstance(part, Block) else decoder.push(part)
    yield decoder.finish()
