"""A thread that syncs the record to the card, so that a slow card blocks no other thread."""

import logging
import os
import threading
from collections.abc import Callable

log = logging.getLogger("wattwake")

SYNC_EVERY_S = 1.5
"""Interval of syncs [s]: appends are 0.8 s apart, so every second one is followed by a sync, after
1.6 s with its own duration."""

AFTER_FAILURE_S = 5.0
"""Pause after a failed sync [s]."""


class RecordSync:
    """Syncs one file, one request at a time; none is added while the card does not respond."""

    def __init__(self) -> None:
        self.problem: Exception | None = None
        """Why the last sync failed; None if it succeeded."""
        self.failures = 0
        self._changed = threading.Condition()
        self._descriptor: int | None = None
        self._began_us: int | None = None
        self._last_us: int | None = None
        self._unsynced = False
        self._closing = False
        self._thread = threading.Thread(target=self._run, name="record sync", daemon=True)
        self._thread.start()

    def mark_unsynced(self) -> None:
        """Record that there are writes not yet synced."""
        with self._changed:
            self._unsynced = True

    def due(self, now_us: int) -> bool:
        """Return whether a sync should begin now [us]."""
        with self._changed:
            if not self._unsynced or self._began_us is not None:
                return False
            pause_s = AFTER_FAILURE_S if self.problem else SYNC_EVERY_S
            return self._last_us is None or now_us - self._last_us >= pause_s * 1e6

    def request(self, descriptor: int, now_us: int) -> None:
        """Start a sync, when `due`; the descriptor is closed afterwards."""
        with self._changed:
            self._descriptor = descriptor
            self._began_us = self._last_us = now_us
            self._unsynced = False
            self._changed.notify_all()

    def pending_s(self, now_us: int) -> float:
        """Return the time that the present sync has taken so far [s]; 0 without one."""
        with self._changed:
            return 0.0 if self._began_us is None else (now_us - self._began_us) * 1e-6

    def wait_idle(self, within_s: float) -> bool:
        """Wait until no sync is in progress; return whether that was reached."""
        with self._changed:
            return self._changed.wait_for(lambda: self._began_us is None, within_s)

    def close(self) -> None:
        """End the thread once it is idle, without waiting for it."""
        with self._changed:
            self._closing = True
            self._changed.notify_all()

    def _run(self) -> None:
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._descriptor is not None or self._closing)
                descriptor, self._descriptor = self._descriptor, None
            if descriptor is None:
                return
            problem = _failure(os.fdatasync, descriptor)
            problem = _failure(os.close, descriptor) or problem
            with self._changed:
                self.problem = problem
                self.failures += problem is not None
                self._unsynced |= problem is not None
                self._began_us = None
                self._changed.notify_all()


def _failure(act: Callable[[int], None], descriptor: int) -> Exception | None:
    """Return the exception of an action, None if it succeeds; no fault may end the thread."""
    try:
        act(descriptor)
    except OSError as problem:
        return problem
    except Exception as fault:
        log.exception("a sync failed in a way that nobody foresaw")
        return fault
    return None
