"""The recorder: what the link gave, as a telemetry log in a session's folder.

Every frame that the scanner passed is written unaltered behind its stamp; bytes that form no frame
are counted, not written. The stamps are the wall clock at the start plus monotonic time since.
"""

import datetime
import json
from pathlib import Path
from typing import BinaryIO

from onboard.errors import UsageError
from onboard.telemetry.frames import Frames
from onboard.telemetry.log_files import RECORD_NAME

FLUSH_EVERY_S = 1.0


class Recorder:
    """Writes one session's record.

    Parameters
    ----------
    directory
        The folder of all sessions; the session gets a folder of its own in it.
    start_us
        Wall clock at the start [us since the Unix epoch].
    profile_text
        The craft profile as given, kept beside the record; None where there is none.

    Raises
    ------
    UsageError
        If the folder or the file cannot be made.
    """

    def __init__(self, directory: Path, start_us: int, profile_text: str | None = None) -> None:
        try:
            self.folder = _new_folder(directory, start_us)
            if profile_text is not None:
                (self.folder / "profile.toml").write_text(profile_text, encoding="utf-8")
            self._file: BinaryIO = (self.folder / RECORD_NAME).open("xb")
        except OSError as problem:
            raise UsageError(
                f"--record {directory}: cannot write there ({problem.strerror}): "
                "choose another folder, or --no-record"
            ) from None
        self._start_us = start_us
        self._flushed_us = start_us
        self._utc_noted = False

    def write(self, frames: Frames, now_us: int) -> None:
        """Write frames, and flush if a second has gone by.

        Parameters
        ----------
        frames
            The frames.
        now_us
            The clock that their stamps are read from [us].

        Raises
        ------
        OSError
            If the file cannot be written.
        """
        if len(frames):
            self._file.write(frames.records())
        if now_us - self._flushed_us >= FLUSH_EVERY_S * 1e6:
            self._file.flush()
            self._flushed_us = now_us

    def note_utc(self, utc: str, now_us: int) -> None:
        """Keep, once, what UTC the autopilot states at a stamp: the board's clock may be wrong."""
        if not self._utc_noted:
            note = {"stamp_us": now_us, "utc": utc}
            (self.folder / "clock.json").write_text(json.dumps(note) + "\n", encoding="utf-8")
            self._utc_noted = True

    def close(self) -> None:
        """Flush and close."""
        self._file.close()


def _new_folder(directory: Path, start_us: int) -> Path:
    """Make a session's folder, named by its start; a second one in that second gets a number."""
    moment = datetime.datetime.fromtimestamp(start_us * 1e-6, datetime.UTC)
    name = f"{moment:%Y-%m-%dT%H-%M-%SZ}"
    directory.mkdir(parents=True, exist_ok=True)
    number = 1
    while True:
        folder = directory / (name if number == 1 else f"{name}-{number}")
        try:
            folder.mkdir()
        except FileExistsError:
            number += 1
        else:
            return folder
