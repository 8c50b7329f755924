"""A link over UDP: datagrams that the autopilot, its radio or a router sends to this board."""

import errno
import select
import socket

from onboard.telemetry.link.base import DescriptorLink, Part, Source, not_opened

DATAGRAM_MOST_BYTES = 65_535
READ_MOST_BYTES, READ_MOST_PARTS = 1 << 18, 1 << 10
"""Bounds of one read: a flood, even of empty datagrams, must not keep it going for ever."""

BUFFER_BYTES = 4 << 20
"""Receive buffer requested from the kernel, which may grant less: room for bursts while the board
is busy."""

NO_ROUTE = (
    errno.ENETUNREACH,
    errno.EHOSTUNREACH,
    errno.ENETDOWN,
    errno.EHOSTDOWN,
    errno.ECONNREFUSED,
    errno.EPERM,
    errno.ENOBUFS,
    errno.EACCES,
    errno.EINVAL,
)
"""Errors of a datagram while a network is down: the datagram is lost, the port stays open."""


class UdpLink(DescriptorLink):
    """A port that accepts datagrams from any sender.

    Parameters
    ----------
    host, port
        The address to listen on; port 0 takes any free one.

    Raises
    ------
    LinkError
        If the address is not available.
    """

    def __init__(self, host: str, port: int) -> None:
        self.socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        try:
            self.socket.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, BUFFER_BYTES)
            self.socket.bind((host, port))
        except (OSError, OverflowError) as problem:
            self.socket.close()
            name = f"udpin:{host}:{port}"
            raise not_opened(name, "cannot listen there", "cannot_listen", problem) from None
        self.socket.setblocking(False)
        self._to: Source | None = None
        name = f"udpin:{host}:{self.socket.getsockname()[1]}"
        super().__init__(name, self._send, self.socket.close)

    def receive(self, timeout_s: float) -> list[Part]:
        """Return the datagrams that are there."""
        ready, _, _ = select.select([self.socket], [], [], timeout_s)
        parts: list[Part] = []
        room = READ_MOST_BYTES if ready else 0
        while room > 0 and len(parts) < READ_MOST_PARTS:
            try:
                part = Part(*self.socket.recvfrom(DATAGRAM_MOST_BYTES))
            except BlockingIOError:
                break
            parts.append(part)
            room -= len(part.data)
        return parts

    def write(self, data: bytes, to: Source | None = None, /) -> None:
        """Send one datagram; without a destination, nothing. See `Link.write`."""
        self._to = to
        super().write(data)

    def _send(self, data: bytes) -> int:
        if self._to is None:
            return len(data)
        try:
            return self.socket.sendto(data, self._to)
        except OSError as problem:
            if problem.errno in NO_ROUTE:
                return 0
            raise
