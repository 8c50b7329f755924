"""The files of one session's record: one is written, and another takes over when it must.

Somebody may rename, remove, replace or cut short a file that is being written, and what comes in
would be lost without a word. No thread and no clock here.
"""

import logging
from collections.abc import Callable
from pathlib import Path

from onboard.contract.alerts import Alert, AlertCode
from onboard.files.whole_file import sync_folder
from onboard.record.card_trouble import BECAME
from onboard.record.record_file import FOLDER_MODE, NotOursError, RecordFile
from onboard.telemetry.logs.log_files import record_name

log = logging.getLogger("wattwake")


class WatchedRecord:
    """The record files in a session's folder, which exists.

    Parameters
    ----------
    folder
        The folder.
    made_anew
        Called when the folder was gone and has been made again.

    Raises
    ------
    OSError
        If the first file cannot be made.
    """

    def __init__(self, folder: Path, made_anew: Callable[[], None]) -> None:
        self._folder, self._made_anew = folder, made_anew
        self._number = 1
        self.doubted = False
        """Set after anything went wrong: the file is reopened before it is used again."""
        self.moved: Alert | None = None
        """That recording went on in another file; None if it did not."""
        self.risk: Alert | None = None
        """That the file being written is not in its place, None where it is."""
        self.now = RecordFile(folder / record_name(1))
        """The file being written, as it was last found."""
        sync_folder(folder)

    def ready(self) -> RecordFile:
        """Return the file to write to, reopened where that is due, or another beside it.

        Raises
        ------
        OSError
            If there is none.
        """
        became: str | None = "unchecked"
        risk = None
        try:
            became = self._reopened() or self.now.what_became()
            if became is not None:
                self._go_on_beside(became)
        except OSError as problem:
            if self.doubted or not self.now.is_whole_somewhere:
                raise
            # Better there, wherever that is, than nowhere.
            risk = Alert(
                AlertCode.RECORD_AT_RISK,
                path=str(self._folder),
                problem=became,
                errno=problem.errno,
            )
        self.risk = risk
        return self.now

    def _reopened(self) -> str | None:
        """Reopen the file where that is due; tell what became of it if it is gone."""
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
        """Go on in another file: the one being written is no longer what it was."""
        there, number = self._folder.is_dir(), self._number
        if not there:
            # Never the folder of all sessions: the card may be out, and what is seen would be its
            # empty mount point.
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
        names = {"before": before.path.name, "path": file.path.name}
        self.moved = Alert(AlertCode.RECORD_MOVED, problem=became, **names)
        said = f"{before.path.name} {BECAME[became]}: recording goes on in {file.path.name}"
        # A format without a word: each of these is of its own kind, and passes.
        log.error("%s: %s", self._folder, said)
