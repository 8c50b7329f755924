"""Send datagrams no faster than they are read, however slow the reader, so that none is lost."""

import socket
import time
from pathlib import Path

from tests.patience import PATIENCE_S

UNREAD_MOST_BYTES = 50_000
"""As counted by the kernel, far more than the payload; its default buffer has 200,000."""
CHECK_EVERY = 20
"""Datagrams between checks of the queue."""


def unread_bytes(port: int) -> int:
    """Return the bytes queued at a local UDP port (IPv4)."""
    for line in Path("/proc/net/udp").read_text().splitlines()[1:]:
        words = line.split()
        if int(words[1].rpartition(":")[2], 16) == port:
            return int(words[4].rpartition(":")[2], 16)
    return 0


class Outlet:
    """Sends datagrams to a local port.

    Parameters
    ----------
    port
        Port to send to; its queue is checked.
    """

    def __init__(self, port: int) -> None:
        self.port, self._count = port, 0
        self.socket = socket.socket(type=socket.SOCK_DGRAM)
        self.socket.connect(("127.0.0.1", port))

    def send(self, data: bytes) -> None:
        self._count += 1
        if self._count % CHECK_EVERY == 0:
            end_s = time.monotonic() + PATIENCE_S
            while unread_bytes(self.port) > UNREAD_MOST_BYTES:
                assert time.monotonic() < end_s, "nobody reads what is sent"
                time.sleep(0.002)
        self.socket.send(data)

    def __enter__(self) -> "Outlet":
        return self

    def __exit__(self, *_: object) -> None:
        self.socket.close()
