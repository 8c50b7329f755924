"""A thread that writes what may wait: one thing after the other, and nobody waits for a stuck card.

Not a pool of the standard library: Python waits for its threads when it ends, however long.
"""

import logging
import queue
import threading
from collections.abc import Callable

log = logging.getLogger("wattwake")


class Saver:
    """Does what it is given, in order, in a thread of its own."""

    def __init__(self) -> None:
        self._acts: queue.SimpleQueue[Callable[[], None] | None] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._run, name="save", daemon=True)
        self._thread.start()

    def submit(self, act: Callable[[], None]) -> None:
        """Have a thing done behind all others."""
        self._acts.put(act)

    def close(self, within_s: float) -> bool:
        """Wait until all is done, but no longer than this [s]; tell whether it is."""
        self._acts.put(None)
        self._thread.join(within_s)
        return not self._thread.is_alive()

    def _run(self) -> None:
        while (act := self._acts.get()) is not None:
            try:
                act()
            except Exception:  # whatever it is, what follows must still be written
                log.exception("something was not written, in a way that nobody foresaw")
