"""UDP datagrams that the autopilot, its radio or a router sends to us."""

import errno
import select
import socket

from onboard.errors import LinkError
from onboard.telemetry.link.base import Part, Source, broken
from onboard.telemetry.link.outlet import Outlet

DATAGRAM_MOST_BYTES = 65_535
READ_MOST_BYTES, READ_MOST_PARTS = 1 << 18, 1 << 10
"""A flood, be it of empty datagrams, must not keep one read going for ever."""

BUFFER_BYTES = 4 << 20
"""Asked of the kernel, which may give less: room for bursts while the board is busy."""

NO_WAY_THERE = (
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
"""A datagram that cannot go while a network is down is lost; the port still hears, and goes on."""


class UdpLink:
    """Listens on a port for datagrams from anyone, and sends to whom it is told.

    Parameters
    ----------
    host, port
        The address to listen on; port 0 takes any free one.

    Raises
    ------
    LinkError
        If the address cannot be had.
    """

    def __init__(self, host: str, port: int) -> None:
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        try:
            self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, BUFFER_BYTES)
            self._socket.bind((host, port))
        except (OSError, OverflowError) as problem:
            self._socket.close()
            cause = (getattr(problem, "strerror", None) or str(problem)).lower()
            name, number = f"udpin:{host}:{port}", getattr(problem, "errno", None)
            text = f"{name}: cannot listen there ({cause})"
            raise LinkError(text, name, "cannot_listen", number) from None
        self._socket.setblocking(False)
        self.name = f"udpin:{host}:{self._socket.getsockname()[1]}"
        self._to: Source | None = None
        self._outlet = Outlet(self._send, self._socket.close)

    def read(self, timeout_s: float) -> list[Part]:
        """Return the datagrams that are there; see `Link.read`."""
        try:
            ready, _, _ = select.select([self._socket], [], [], timeout_s)
            parts: list[Part] = []
            room = READ_MOST_BYTES if ready else 0
            while room > 0 and len(parts) < READ_MOST_PARTS:
                try:
                    part = Part(*self._socket.recvfrom(DATAGRAM_MOST_BYTES))
                except BlockingIOError:
                    break
                parts.append(part)
                room -= len(part.data)
            return parts
        except (OSError, ValueError) as problem:
            raise broken(self.name, problem) from None

    @property
    def unsent_bytes(self) -> int:
        """How many bytes were dropped: no room, or no network."""
        return self._outlet.unsent_bytes

    def write(self, data: bytes, to: Source | None = None, /) -> None:
        """Send one datagram; to nobody in particular, nothing. See `Link.write`."""
        self._to = to
        try:
            self._outlet.write(data)
        except OSError as problem:
            raise broken(self.name, problem) from None

    def close(self) -> None:
        """Close the socket."""
        self._outlet.close()

    def _send(self, data: bytes) -> int:
        if self._to is None:
            return len(data)
        try:
            return self._socket.sendto(data, self._to)
        except OSError as problem:
            if problem.errno in NO_WAY_THERE:
                return 0
            raise
