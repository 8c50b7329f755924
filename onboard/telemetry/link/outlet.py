"""Non-blocking sending over a device or socket."""

import errno
import os
import threading
from collections.abc import Callable


class Outlet:
    """Send each piece completely or not at all, so that frames never interleave.

    Writing and closing may happen in different threads: a descriptor that the system has reused for
    another file is never written to.

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
        """Rest of a partly sent piece, to be sent first."""
        self.unsent_bytes = 0

    def write(self, data: bytes) -> None:
        """Send a piece; if it cannot begin now, drop and count it.

        Raises
        ------
        OSError
            If sending fails.
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
        """Close, once no send is in progress."""
        with self._lock:
            self._open = False
            self._release()

    def _sent(self, data: bytes) -> int:
        try:
            return self._send(data)
        except BlockingIOError:
            return 0
