"""The files of one session's record: one is written to, and another takes its place when it must.

Somebody may rename, remove, replace or cut a file that is being written, and what comes would be
lost without a word. No thread and no clock here.
"""

import logging
from collections.abc import Callable
from pathlib import Path

from onboard.telemetry.card_trouble import in_words
from onboard.telemetry.log_files import record_name
from onboard.telemetry.record_file import FOLDER_MODE, NotOursError, RecordFile
from onboard.whole_file import sync_folder

log = logging.getLogger("wattwake")


class WatchedRecord:
    """The files in a session's folder, which is there.

    Parameters
    ----------
    folder
        The folder.
    made_anew
        Told when the folder was gone, and was made anew.

    Raises
    ------
    OSError
        If the first file cannot be made.
    """

    def __init__(self, folder: Path, made_anew: Callable[[], None]) -> None:
        self._folder, self._made_anew = folder, made_anew
        self._number = 1
        self.doubted = False
        """To be set after anything went wrong: the file is opened anew before it is used again."""
        self.moved: str | None = None
        """How the record came to go on in another file, in a sentence; None where it did not."""
        self.risk: str | None = None
        """Why the file that is written to is not in its place, None where it is."""
        self.now = RecordFile(folder / record_name(1))
        """The file that is written to, as it was last found."""
        sync_folder(folder)

    def ready(self) -> RecordFile:
        """Give the file to be written to, opened anew where that is due, or another beside it.

        Raises
        ------
        OSError
            If there is none to be had.
        """
        became: str | None = "cannot be looked at"
        risk = None
        try:
            became = self._reopened() or self.now.what_became()
            if became is not None:
                self._go_on_beside(became)
        except OSError as problem:
            if self.doubted or not self.now.is_whole_somewhere:
                raise
            # Better there, wherever that is, than nowhere.
            risk = f"the file {became}, and there is no other yet: {in_words(problem)}"
        self.risk = risk
        return self.now

    def _reopened(self) -> str | None:
        """Open the file anew where that is due; tell what became of it if it is gone."""
        if self.doubted:
            try:
                lost_bytes = self.now.reopen()
            except NotOursError as other:
                return str(other)
            self.doubted = False
            if lost_bytes:
                log.error("the card has lost %d bytes of the record", lost_bytes)
        return None

    def _go_on_beside(self, became: str) -> None:
        """Go on in another file, for the one that was written is not what it was."""
        there, number = self._folder.is_dir(), self._number
        if not there:
            # Never the folder of all sessions: it may be that the card is away, and what is seen
            # is the empty place for it.
            self._folder.mkdir(mode=FOLDER_MODE)
            number = 0
        while True:
            number += 1
            try:
                file = RecordFile(self._folder / record_name(number))
                break
            except FileExistsError:
                continue
        self.now.close()
        before, self.now, self._number, self.doubted = self.now, file, number, False
        sync_folder(self._folder)
        if not there:
            self._made_anew()
        self.moved = f"The record {before.path.name} {became}: it goes on in {file.path.name}."
        log.error("%s: %s", self._folder, self.moved)
