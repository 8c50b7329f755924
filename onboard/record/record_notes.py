"""The small files beside a record: written whole or not at all, and again while that fails."""

import logging
import threading
from collections.abc import Callable
from pathlib import Path

Write = Callable[[Path], None]
"""Writes into the folder that it is given; may raise OSError."""

RETRY_EVERY_S = 5.0

log = logging.getLogger("wattwake")


class RecordNotes:
    """What is to be written beside a record. Anyone may add; one thread writes."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._waiting: dict[str, Write] = {}
        self._all: dict[str, Write] = {}
        self._failed_us: int | None = None

    def put(self, name: str, write: Write, *, there: bool = False) -> None:
        """Have something written; the newest of a name counts. `there`: it is written already."""
        with self._lock:
            self._all[name] = write
            if not there:
                self._waiting[name] = write

    def anew(self) -> None:
        """Have all of it written again: the folder was taken away."""
        with self._lock:
            self._waiting = dict(self._all)

    def due(self, now_us: int) -> bool:
        """Return whether something waits and it is time to write it [us]."""
        with self._lock:
            failed_us = self._failed_us
            rested = failed_us is None or now_us - failed_us >= RETRY_EVERY_S * 1e6
            return bool(self._waiting) and rested

    def write(self, folder: Path, now_us: int) -> None:
        """Write what waits; what cannot be written waits on, which is said once."""
        with self._lock:
            waiting, self._waiting = self._waiting, {}
        failed: dict[str, Write] = {}
        for name, write in waiting.items():
            try:
                write(folder)
            except OSError as problem:
                if self._failed_us is None:
                    log.warning("%s: %s not written yet: %s", folder, name, problem.strerror)
                failed[name] = write
            except Exception:  # whatever it is, the record must go on
                if self._failed_us is None:
                    log.exception("%s: %s not written in a way that nobody foresaw", folder, name)
                failed[name] = write
        with self._lock:
            self._waiting = failed | self._waiting
            if failed:
                self._failed_us = now_us
            elif waiting:
                self._failed_us = None
