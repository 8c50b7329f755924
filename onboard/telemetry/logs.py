"""Saved logs of both kinds, told apart by their content."""

from collections.abc import Iterator
from pathlib import Path
from typing import Protocol

from onboard.block import Block
from onboard.telemetry.frames import Frames
from onboard.telemetry.log_files import LogFacts, Progress
from onboard.telemetry.telemetry_log import TelemetryLog


class SavedLog(Protocol):
    """A log on disk: what the link gave, or what the autopilot wrote on board."""

    path: Path

    def parts(self, progress: Progress | None = None) -> Iterator[Frames | Block]:
        """Give what the log holds, in order: frames, or blocks of channels.

        Raises
        ------
        LogError
            If the file cannot be read, or is no log.
        """

    def facts(self) -> LogFacts:
        """Give what the parts read so far hold."""

    def length_s(self) -> float:
        """Give how long the log lasts [s]."""


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
    return TelemetryLog(path)
