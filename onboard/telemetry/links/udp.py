"""UDP datagrams that the autopilot, its radio or a router sends to us."""

import select
import socket

from onboard.errors import LinkError

DATAGRAM_MOST_BYTES = 65_535
READ_MOST_BYTES = 1 << 18
"""A flood must not keep one read going for ever."""

BUFFER_BYTES = 4 << 20
"""Asked of the kernel, which may give less: room for bursts while the board is busy."""


class UdpLink:
    """Listens on a port for datagrams from anyone.

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
            raise LinkError(f"udpin:{host}:{port}: cannot listen there ({cause})") from None
        self._socket.setblocking(False)
        self.name = f"udpin:{host}:{self._socket.getsockname()[1]}"

    def read(self, timeout_s: float) -> bytes:
        """Give the datagrams that are there; see `Link.read`."""
        try:
            ready, _, _ = select.select([self._socket], [], [], timeout_s)
            if not ready:
                return b""
            parts: list[bytes] = []
            while sum(map(len, parts)) < READ_MOST_BYTES:
                try:
                    parts.append(self._socket.recv(DATAGRAM_MOST_BYTES))
                except BlockingIOError:
                    break
            return b"".join(parts)
        except (OSError, ValueError) as problem:
            raise LinkError(f"{self.name}: {problem}") from None

    def close(self) -> None:
        """Close the socket."""
        self._socket.close()
