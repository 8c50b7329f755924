"""A TCP connection to a telemetry router or a network radio."""

import select
import socket

from onboard.errors import LinkError, UsageError

CONNECT_S = 3.0
READ_MOST_BYTES = 65_536


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
            self._socket = socket.create_connection((host, port), CONNECT_S)
        except UnicodeError:
            raise UsageError(f"{self.name}: {host!r} is no host name") from None
        except OSError as problem:
            cause = (problem.strerror or str(problem)).lower()
            raise LinkError(f"{self.name}: cannot connect ({cause})") from None
        self._socket.setblocking(False)

    def read(self, timeout_s: float) -> bytes:
        """Give the bytes that are there; see `Link.read`."""
        try:
            ready, _, _ = select.select([self._socket], [], [], timeout_s)
            data = self._socket.recv(READ_MOST_BYTES) if ready else b""
        except BlockingIOError:
            return b""
        except (OSError, ValueError) as problem:
            raise LinkError(f"{self.name}: {problem}") from None
        if ready and not data:
            raise LinkError(f"{self.name}: the other side closed the connection")
        return data

    def close(self) -> None:
        """Close the connection."""
        self._socket.close()
