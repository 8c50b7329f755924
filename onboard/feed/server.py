"""The feed's server: the newest snapshot to every viewer; none ever holds up the daemon."""

import asyncio
import contextlib
import socket

from onboard.errors import FeedError, UsageError
from onboard.feed.snapshot import SCHEMA, as_line

SEND_BUFFER_BYTES = 16 * 1024
"""Kept small, so that a viewer that stopped reading is noticed within seconds, not minutes."""

STANDSTILL_S = 10.0
"""A viewer that takes nothing for this long is put out."""


def parse_listen(text: str) -> tuple[str, int]:
    """Split HOST:PORT.

    Raises
    ------
    UsageError
        If it is something else.

    Examples
    --------
    >>> parse_listen("127.0.0.1:27220")
    ('127.0.0.1', 27220)
    """
    host, _, port = text.rpartition(":")
    if not host or not port.isdecimal() or not 0 <= int(port) <= 65535:
        raise UsageError(f"--listen {text}: expected HOST:PORT, such as 127.0.0.1:27220")
    return host.strip("[]"), int(port)


class _Viewer:
    def __init__(self, writer: asyncio.StreamWriter, now_s: float) -> None:
        self.writer = writer
        self.taking_since_s = now_s

    def offer(self, line: bytes, now_s: float) -> bool:
        """Send a line unless one waits unsent; tell whether the viewer may stay.

        A viewer that is left out gets a newer snapshot later, never a queue of old ones.
        """
        transport = self.writer.transport
        if transport.is_closing():
            return False
        if transport.get_write_buffer_size() == 0:
            self.writer.write(line)
            self.taking_since_s = now_s
            return True
        return now_s - self.taking_since_s < STANDSTILL_S


class FeedServer:
    """Serves snapshots as lines of JSON over TCP."""

    def __init__(self) -> None:
        self._viewers: dict[asyncio.StreamWriter, _Viewer] = {}
        self._server: asyncio.Server | None = None
        self._hello = b""
        self._newest = b""

    @property
    def viewers(self) -> int:
        """How many viewers are connected."""
        return len(self._viewers)

    async def open(self, host: str, port: int, craft: str) -> int:
        """Listen, and give the port (useful where 0 asked for any).

        Raises
        ------
        FeedError
            If the address cannot be had.
        """
        hello = {"schema": SCHEMA, "kind": "hello", "craft": craft, "rate_hz": 5}
        self._hello = as_line(hello)
        try:
            self._server = await asyncio.start_server(self._serve, host, port)
        except (OSError, UnicodeError) as problem:
            raise FeedError(
                f"cannot listen on {host}:{port} ({_cause(problem)}): "
                "stop what uses it, or choose another with --listen HOST:PORT"
            ) from None
        bound: int = self._server.sockets[0].getsockname()[1]
        return bound

    def publish(self, line: bytes, now_s: float) -> None:
        """Offer a snapshot's line to all viewers; never waits.

        Parameters
        ----------
        line
            The line, newline included.
        now_s
            The caller's monotonic clock [s].
        """
        self._newest = line
        for writer, viewer in list(self._viewers.items()):
            if not viewer.offer(line, now_s):
                writer.transport.abort()
                self._viewers.pop(writer, None)

    async def close(self) -> None:
        """Stop listening and put out all viewers."""
        if self._server:
            self._server.close()
        for writer in list(self._viewers):
            writer.close()
        self._viewers.clear()
        await asyncio.sleep(0)

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        connection = writer.get_extra_info("socket")
        with contextlib.suppress(OSError):
            connection.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, SEND_BUFFER_BYTES)
        writer.write(self._hello + self._newest)
        self._viewers[writer] = _Viewer(writer, asyncio.get_running_loop().time())
        try:
            # What viewers say is read and let go: this version takes no commands.
            while await reader.read(4096):
                pass
        except (ConnectionError, TimeoutError):
            pass
        finally:
            self._viewers.pop(writer, None)
            writer.close()


def _cause(problem: OSError | UnicodeError) -> str:
    return (getattr(problem, "strerror", None) or str(problem)).lower()
