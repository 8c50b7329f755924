"""The record files of one session: one is written, and another replaces it if necessary.

The file being written may be renamed, removed, replaced or truncated by others; without a check,
frames would be lost silently. No thread and no clock here.
"""

import logging
from collections.abc import Callable
from pathlib import Path

from onboard.contract.alerts import Alert, AlertCode
from onboard.files.private_folder import FOLDER_MODE
from onboard.files.whole_file import sync_folder
from onboard.record.card_trouble import BECAME
from onboard.record.record_file import DisplacedError, RecordFile
from onboard.telemetry.logs.log_files import record_name

log = logging.getLogger("wattwake")


class WatchedRecord:
    """The record files in a session's folder, which exists.

    Parameters
    ----------
    folder
        The session's folder.
    folder_remade
        Called after a removed folder has been created again.

    Raises
    ------
    OSError
        If the first file cannot be created.
    """

    def __init__(self, folder: Path, folder_remade: Callable[[], None]) -> None:
        self._folder, self._folder_remade = folder, folder_remade
        self._number = 1
        self.suspect = False
        """Set after any failure: the file is reopened before it is used again."""
        self.moved: Alert | None = None
        """Alert that recording continued in another file; None if it did not."""
        self.risk: Alert | None = None
        """Alert that the present file is not in place; None if it is."""
        self.file = RecordFile(folder / record_name(1))
        """The present file, as of the last check."""
        sync_folder(folder)

    def ready(self) -> RecordFile:
        """Return the file to write to: checked, reopened after a failure, or a new one beside it.

        Raises
        ------
        OSError
            If no file is available.
        """
        became: str | None = "unchecked"
        risk = None
        try:
            became = self._reopened() or self.file.displaced()
            if became is not None:
                self._roll_over(became)
        except OSError as problem:
            if self.suspect or not self.file.is_whole_somewhere:
                raise
            # Better to write there, wherever that is, than not to write.
            risk = Alert(
                AlertCode.RECORD_AT_RISK,
                path=str(self._folder),
                problem=became,
                errno=problem.errno,
            )
        self.risk = risk
        return self.file

    def _reopened(self) -> str | None:
        """Reopen a suspect file; return its fate, as a code, if it is gone."""
        if self.suspect:
            try:
                lost_bytes = self.file.reopen()
            except DisplacedError as other:
                return str(other)
            self.suspect = False
            if lost_bytes:
                log.error("the card has lost %d bytes of the record", lost_bytes)
        return None

    def _roll_over(self, became: str) -> None:
        """Continue in another file: the present one is no longer what was written."""
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
        self.file.close()
        before, self.file, self._number, self.suspect = self.file, file, number, False
        sync_folder(self._folder)
        if not there:
            self._folder_remade()
        names = {"before": before.path.name, "path": file.path.name}
        self.moved = Alert(AlertCode.RECORD_MOVED, problem=became, **names)
        text = f"{before.path.name} {BECAME[became]}: recording goes on in {file.path.name}"
        # A format without words: the quiet log then distinguishes messages by text, dropping none.
        log.error("%s: %s", self._folder, text)
