"""A link over a TCP connection to a telemetry router or a network radio."""

import select
import socket
import time

from onboard.errors import LinkError, UsageError
from onboard.telemetry.link.base import DescriptorLink, Part, not_opened

CONNECT_S = 3.0
"""Time to connect [s], for all addresses of a host together."""

READ_MOST_BYTES = 65_536

GONE_AFTER_MS = 10_000
"""Bytes unacknowledged for this long break the connection [ms]: a router that lost power does not
close it, and the system's own timeout is a quarter of an hour."""

ALIVE = ((socket.TCP_KEEPIDLE, 5), (socket.TCP_KEEPINTVL, 2), (socket.TCP_KEEPCNT, 3))
"""Keep-alive where nothing is sent: probe after 5 s of silence, then every 2 s, three times."""


class TcpLink(DescriptorLink):
    """A connection to a server that sends MAVLink.

    Parameters
    ----------
    host, port
        Its address.

    Raises
    ------
    LinkError
        If it cannot be reached.
    UsageError
        If `host` cannot be a host name.
    """

    def __init__(self, host: str, port: int) -> None:
        name = f"tcp:{host}:{port}"
        try:
            self.socket = _connected(host, port)
        except UnicodeError:
            raise UsageError(f"{name}: {host!r} is no host name") from None
        except OSError as problem:
            raise not_opened(name, "cannot connect", "cannot_connect", problem) from None
        self.socket.setblocking(False)
        super().__init__(name, self.socket.send, self.socket.close)

    def receive(self, timeout_s: float) -> list[Part]:
        """Return the bytes that are there."""
        ready, _, _ = select.select([self.socket], [], [], timeout_s)
        if not ready:
            return []
        if data := self.socket.recv(READ_MOST_BYTES):
            return [Part(data)]
        text = f"{self.name}: the other side closed the connection"
        raise LinkError(text, self.name, "closed")


def _connected(host: str, port: int) -> socket.socket:
    """Connect to the first of a host's addresses that answers, within `CONNECT_S` for all."""
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
