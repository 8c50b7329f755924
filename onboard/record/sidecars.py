"""Sidecars: the small files beside a record, written atomically and retried on failure."""

import logging
import threading
from collections.abc import Callable
from pathlib import Path

Write = Callable[[Path], None]
"""Writes into the folder given; may raise OSError."""

RETRY_EVERY_S = 5.0

log = logging.getLogger("wattwake")


class Sidecars:
    """Sidecar files of one session. Any thread may add one; one thread writes."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._waiting: dict[str, Write] = {}
        self._all: dict[str, Write] = {}
        self._failed_us: int | None = None

    def put(self, name: str, write: Write, *, written: bool = False) -> None:
        """Queue a write, replacing an earlier one of this name; `written`: already done."""
        with self._lock:
            self._all[name] = write
            if not written:
                self._waiting[name] = write

    def rewrite_all(self) -> None:
        """Queue everything again: the folder was removed."""
        with self._lock:
            self._waiting = dict(self._all)

    def due(self, now_us: int) -> bool:
        """Return whether a write is queued and the pause after a failure is over [us]."""
        with self._lock:
            failed_us = self._failed_us
            rested = failed_us is None or now_us - failed_us >= RETRY_EVERY_S * 1e6
            return bool(self._waiting) and rested

    def write(self, folder: Path, now_us: int) -> None:
        """Write the queue; failed writes stay queued, and the first failure is logged."""
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
            except Exception:  # the record must go on in any case
                if self._failed_us is None:
                    log.exception("%s: %s not written in a way that nobody foresaw", folder, name)
                failed[name] = write
        with self._lock:
            self._waiting = failed | self._waiting
            if failed:
                self._failed_us = now_us
            elif waiting:
                self._failed_us = None
