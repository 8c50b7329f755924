"""A TCP connection to a telemetry router or a network radio."""

import select
import socket
import time

from onboard.errors import LinkError, UsageError
from onboard.telemetry.link.base import Part, Source, broken
from onboard.telemetry.link.outlet import Outlet

CONNECT_S = 3.0
"""For all addresses of a host together."""

READ_MOST_BYTES = 65_536

GONE_AFTER_MS = 10_000
"""What was sent and not confirmed for so long breaks the connection: a router that lost its power
says no goodbye, and the system's own patience is a quarter of an hour."""

ALIVE = ((socket.TCP_KEEPIDLE, 5), (socket.TCP_KEEPINTVL, 2), (socket.TCP_KEEPCNT, 3))
"""Where nothing is sent: the other side is asked after 5 s of silence, and every 2 s from then."""


class TcpLink:
    """Connects to a server that sends MAVLink.

    Parameters
    ----------
    host, port
        Its address.

    Raises
    ------
    LinkError
        If it cannot be reached.
    UsageError
        If `host` cannot be the name of one.
    """

    def __init__(self, host: str, port: int) -> None:
        self.name = f"tcp:{host}:{port}"
        try:
            self._socket = _connected(host, port)
        except UnicodeError:
            raise UsageError(f"{self.name}: {host!r} is no host name") from None
        except OSError as problem:
            cause = (problem.strerror or str(problem)).lower()
            text = f"{self.name}: cannot connect ({cause})"
            raise LinkError(text, self.name, "cannot_connect", problem.errno) from None
        self._socket.setblocking(False)
        self._outlet = Outlet(self._socket.send, self._socket.close)

    def read(self, timeout_s: float) -> list[Part]:
        """Return the bytes that are there; see `Link.read`."""
        try:
            ready, _, _ = select.select([self._socket], [], [], timeout_s)
            data = self._socket.recv(READ_MOST_BYTES) if ready else b""
        except BlockingIOError:
            return []
        except (OSError, ValueError) as problem:
            raise broken(self.name, problem) from None
        if ready and not data:
            text = f"{self.name}: the other side closed the connection"
            raise LinkError(text, self.name, "closed")
        return [Part(data)] if data else []

    @property
    def unsent_bytes(self) -> int:
        """How many bytes were dropped: the other side takes none, or takes them too slowly."""
        return self._outlet.unsent_bytes

    def write(self, data: bytes, _to: Source | None = None) -> None:
        """Send bytes; see `Link.write`."""
        try:
            self._outlet.write(data)
        except OSError as problem:
            raise broken(self.name, problem) from None

    def close(self) -> None:
        """Close the connection."""
        self._outlet.close()


def _connected(host: str, port: int) -> socket.socket:
    """Connect to the first of a host's addresses that answers; `CONNECT_S` is for all of them."""
    until_s = time.monotonic() + CONNECT_S
    problem: OSError = OSError("no address")
    for family, kind, protocol, _, address in socket.getaddrinfo(host, port, 0, socket.SOCK_STREAM):
        made = socket.socket(family, kind, protocol)
        try:
            made.settimeout(max(0.01, until_s - time.monotonic()))
            made.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
            made.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            made.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, GONE_AFTER_MS)
            for option, value in ALIVE:
                made.setsockopt(socket.IPPROTO_TCP, option, value)
            made.connect(address)
        except OSError as failed:
            made.close()
            problem = failed
        else:
            return made
    raise problem
