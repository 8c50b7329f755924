"""Saved logs of both kinds, told apart by their content."""

from collections.abc import Iterator
from pathlib import Path
from typing import Protocol

from onboard.block import Block
from onboard.errors import LogError
from onboard.telemetry.logs.log_files import LogFacts, OpenLog, Progress, find_log
from onboard.telemetry.logs.onboard_log import OnboardLog, looks_like_onboard_log
from onboard.telemetry.logs.telemetry_log import TelemetryLog
from onboard.telemetry.mavlink.frames import Frames
from onboard.telemetry.messages.decoder import Decoder

HEAD_BYTES = 16_384
"""So much of a file tells what it is."""


class SavedLog(Protocol):
    """A log on disk: what the link gave, or what the autopilot wrote on board."""

    @property
    def path(self) -> Path:
        """The log, or a session's folder, as given."""

    def parts(self, progress: Progress | None = None) -> Iterator[Frames | Block]:
        """Return what the log holds, in order: frames, or blocks of channels.

        Raises
        ------
        LogError
            If the file cannot be read, or is no log.
        """

    def facts(self) -> LogFacts:
        """Return what the parts read so far hold."""

    def length_s(self) -> float:
        """Return how long the log lasts [s]."""


def open_log(path: Path) -> SavedLog:
    """Open a log.

    Parameters
    ----------
    path
        The log, or a session's folder.

    Raises
    ------
    LogError
        If there is none, or it is empty or cannot be read.
    """
    return OnboardLogParts(find_log(path)[0]) if is_onboard_log(path) else TelemetryLog(path)


def is_onboard_log(path: Path) -> bool:
    """Return whether a log is one that the autopilot wrote on board.

    Raises
    ------
    LogError
        If there is none, or it is empty or cannot be read.
    """
    files = find_log(path)
    try:
        with OpenLog(files) as file:
            return looks_like_onboard_log(file.read(HEAD_BYTES))
    except OSError as problem:
        raise LogError(f"{files[0]}: cannot be read ({problem.strerror})") from None


def blocks_of(log: SavedLog, decoder: Decoder, progress: Progress | None = None) -> Iterator[Block]:
    """Return a log to its end as blocks, of whichever kind it is.

    Parameters
    ----------
    log
        What to read.
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


class OnboardLogParts:
    """An on-board log as a `SavedLog`.

    Parameters
    ----------
    path
        The file.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._log = OnboardLog(path)

    def parts(self, progress: Progress | None = None) -> Iterator[Block]:
        """Return the log's blocks; see `OnboardLog.blocks`."""
        return self._log.blocks(progress=progress)

    def facts(self) -> LogFacts:
        """Return what the log holds, once its parts are read."""
        facts = self._log.facts
        return LogFacts(
            "onboard",
            facts.messages,
            facts.bad_bytes,
            facts.first_utc_s,
            facts.duration_s,
            self.path.stat().st_size,
            facts.receivers,
        )

    def length_s(self) -> float:
        """Return how long the log lasts [s]; all of it is read for that."""
        for _ in self.parts():
            pass
        return self._log.facts.duration_s
