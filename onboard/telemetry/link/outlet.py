"""Sending over what takes as much as it has room for, and never waiting for it."""

import errno
import os
import threading
from collections.abc import Callable


class Outlet:
    """Sends each piece wholly or not at all, so that no frame runs into the middle of another.

    Pieces may come from another thread than the one that closes: a number that the system has given
    to another file since is never written to.

    Parameters
    ----------
    send
        Sends what it can of some bytes and gives how many that were; raises BlockingIOError where
        there is no room for any.
    close
        Gives the device or socket back.
    """

    def __init__(self, send: Callable[[bytes], int], close: Callable[[], None]) -> None:
        self._send = send
        self._give_back = close
        self._lock = threading.Lock()
        self._open = True
        self._begun = b""
        """What is left of a piece of which a part has gone: it goes before anything else."""
        self.unsent_bytes = 0

    def write(self, data: bytes) -> None:
        """Send a piece; where it cannot begin now, it is dropped and counted.

        Raises
        ------
        OSError
            If it cannot be sent at all.
        """
        with self._lock:
            if not self._open:
                raise OSError(errno.EBADF, os.strerror(errno.EBADF))
            if self._begun:
                self._begun = self._begun[self._sent(self._begun) :]
            if self._begun:
                self.unsent_bytes += len(data)
                return
            sent = self._sent(data)
            if sent:
                self._begun = data[sent:]
            else:
                self.unsent_bytes += len(data)

    def close(self) -> None:
        """Close, once nothing is just being sent."""
        with self._lock:
            self._open = False
            self._give_back()

    def _sent(self, data: bytes) -> int:
        try:
            return self._send(data)
        except BlockingIOError:
            return 0
