"""Sending over a device or socket that takes as much as it has room for, without ever waiting."""

import errno
import os
import threading
from collections.abc import Callable


class Outlet:
    """Send each piece wholly or not at all, so that no frame runs into the middle of another.

    Pieces may come from another thread than the one that closes: a descriptor that the system has
    reused for another file since is never written to.

    Parameters
    ----------
    send
        Sends as much of some bytes as it can and returns how many; raises BlockingIOError if there
        is room for none.
    close
        Releases the device or socket.
    """

    def __init__(self, send: Callable[[bytes], int], close: Callable[[], None]) -> None:
        self._send = send
        self._release = close
        self._lock = threading.Lock()
        self._open = True
        self._begun = b""
        """Rest of a piece that was sent in part: it goes before anything else."""
        self.unsent_bytes = 0

    def write(self, data: bytes) -> None:
        """Send a piece; if it cannot begin now, drop and count it.

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
        """Close, once no send is under way."""
        with self._lock:
            self._open = False
            self._release()

    def _sent(self, data: bytes) -> int:
        try:
            return self._send(data)
        except BlockingIOError:
            return 0
