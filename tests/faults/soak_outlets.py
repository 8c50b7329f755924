"""Outlets for the soak's frames: datagrams, or a pseudo-terminal with a persistent name.

An outlet also asks the kernel whether a daemon could have received a frame when it was sent.
"""

import contextlib
import os
import socket
import threading
import time
import tty
from pathlib import Path

from tests.free_port import free_port

PTY_WAIT_S = 0.5
"""Time for the reader to take data [s]; without flow control, the rest is lost, and counted."""


class Udp:
    """Datagrams to a port of this machine, one per frame."""

    name = "udp"

    def __init__(self) -> None:
        self.port = free_port(socket.SOCK_DGRAM)
        self.link = f"udpin:127.0.0.1:{self.port}"
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._strangers: list[socket.socket] = []
        self._row = f"0100007F:{self.port:04X}"

    def drops(self) -> int | None:
        """Return the number of drops by the kernel at the daemon's port; None if nobody listens."""
        for line in Path("/proc/net/udp").read_text().splitlines()[1:]:
            fields = line.split()
            if fields[1] == self._row:
                return int(fields[-1])
        return None

    def reaches(self, pid: int | None) -> bool:
        return pid is not None and self.drops() is not None

    def send(self, data: bytes) -> bool:
        with contextlib.suppress(OSError):  # nobody listens: the next send reports it
            self._socket.sendto(data, ("127.0.0.1", self.port))
        return True

    def stranger(self) -> "Stranger":
        """Return a sender with another address."""
        return Stranger(self.port)

    def close(self) -> None:
        self._socket.close()


class Stranger:
    """Another sender to the same port, which must never be answered."""

    most = 1400

    def __init__(self, port: int) -> None:
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._socket.setblocking(False)
        self._to = ("127.0.0.1", port)

    def send(self, data: bytes) -> bool:
        with contextlib.suppress(OSError):
            self._socket.sendto(data, self._to)
        return True

    def answers(self) -> int:
        count = 0
        with contextlib.suppress(OSError):
            while self._socket.recv(2048):
                count += 1
        return count

    def close(self) -> None:
        self._socket.close()


class Serial:
    """A pseudo-terminal under a persistent name; it can be unplugged and plugged in again."""

    name, most = "serial", 256

    def __init__(self, path: Path) -> None:
        self.path = path
        self.link = str(path)
        self.untaken_bytes = 0
        self._lock = threading.Lock()
        self._ours: int | None = None
        self._theirs = ""
        self._holes: list[int] = []
        self.plugged_s = self.unplugged_s = 0.0
        self.plug()

    def plug(self) -> None:
        with self._lock:
            if self._theirs:
                self._holes += os.openpty()  # so that the device gets another number this time
            ours, theirs = os.openpty()
            tty.setraw(theirs)
            os.set_blocking(ours, False)
            self._theirs = os.ttyname(theirs)
            os.close(theirs)
            self._ours, self.plugged_s = ours, time.monotonic()
            self.path.symlink_to(self._theirs)

    def unplug(self) -> None:
        with self._lock:
            if self._ours is not None:
                self.unplugged_s = time.monotonic()
                self.path.unlink()
                os.close(self._ours)
                self._ours = None
            while len(self._holes) > 8:
                os.close(self._holes.pop(0))

    def drops(self) -> int | None:
        return 0

    def reaches(self, pid: int | None) -> bool:
        """Return whether the daemon has the present device open."""
        if pid is None or self._ours is None:
            return False
        with contextlib.suppress(OSError):
            for entry in Path(f"/proc/{pid}/fd").iterdir():
                with contextlib.suppress(OSError):
                    if str(entry.readlink()) == self._theirs:
                        return True
        return False

    def send(self, data: bytes) -> bool:
        """Write all data; return whether the reader took it."""
        with self._lock:
            until_s, rest = time.monotonic() + PTY_WAIT_S, data
            while rest and self._ours is not None and time.monotonic() < until_s:
                try:
                    rest = rest[os.write(self._ours, rest) :]
                except BlockingIOError:
                    time.sleep(0.01)
                except OSError:
                    break
            self.untaken_bytes += len(rest)
            if self._ours is not None:
                with contextlib.suppress(OSError):
                    os.read(self._ours, 65536)  # requests by the daemon
            return not rest

    def stranger(self) -> "Serial":
        return self

    def answers(self) -> int:
        return 0

    def close(self) -> None:
        """Nothing to close: a stranger on a serial line shares it."""

    def end(self) -> None:
        self.unplug()
        for hole in self._holes:
            os.close(hole)
