"""The feed's server: the newest snapshot to every viewer, and commands from viewers to the daemon.

It listens in plain text, on loopback only. Viewers from elsewhere connect to the encrypted door
(`onboard/crew`), which hands over their connections once they are authenticated. No viewer can
delay the daemon or another viewer, whether it does not read or does not stop sending.
"""

import asyncio
import contextlib
import ipaddress
import logging
import socket
from collections.abc import Callable
from typing import Any

from onboard.contract.codec import as_line
from onboard.contract.commands import LONGEST_BYTES, Command, Refused, Reply, parse_command
from onboard.contract.messages import Ack, Hello
from onboard.contract.refusals import Refusal, RefusalCode
from onboard.errors import FeedError, UsageError, cause_of
from onboard.feed.viewer import LINES_PER_S, SEND_BUFFER_BYTES, Viewer, is_loopback

CHUNK_BYTES = 4096

UNANSWERED_MOST = 64
"""Commands of all viewers that await their answers; more are refused."""

LOCAL_MOST = 128
"""Viewers on this board; each browser of `serve` is one."""

ANSWER_S = 2.0
"""A viewer that closed its sending side still gets answers within this time [s]."""

OnCommand = Callable[[Command, Reply], None]
"""Takes a command and its reply function; returns at once, and replies once, now or later."""

NOT_HERE = Refusal(RefusalCode.NOT_HERE)
TOO_FAST = Refusal(RefusalCode.TOO_FAST, most=round(LINES_PER_S))
RATE_HZ = 5.0

log = logging.getLogger("wattwake")


def parse_listen(text: str, option: str = "--listen") -> tuple[str, int]:
    """Split HOST:PORT, the value of an option.

    Raises
    ------
    UsageError
        If it is anything else.

    Examples
    --------
    >>> parse_listen("127.0.0.1:27220")
    ('127.0.0.1', 27220)
    """
    host, _, port = text.rpartition(":")
    if not host or not is_port(port):
        raise UsageError(f"{option} {text}: expected HOST:PORT, such as 127.0.0.1:27220")
    return host.strip("[]"), int(port)


def is_port(text: str) -> bool:
    """Return whether a text is a port number.

    Examples
    --------
    >>> [is_port(text) for text in ("27220", "65536", "-1", "1" * 5000)]
    [True, False, False, False]
    """
    return text.isdecimal() and len(text) <= len("65535") and int(text) <= 65535


def is_local(host: str) -> bool:
    """Return whether a listening address is reachable from this board only.

    Examples
    --------
    >>> [is_local(host) for host in ("127.0.0.1", "::1", "localhost", "0.0.0.0", "::", "board")]
    [True, True, True, False, False, False]
    """
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


class FeedServer:
    """Serve snapshots as lines of JSON over TCP, and receive commands.

    Parameters
    ----------
    may_command
        Returns whether the peer of a connection may send commands.
    """

    def __init__(self, may_command: Callable[[Any], bool] = is_loopback) -> None:
        self._may_command = may_command
        self._on_command: OnCommand | None = None
        self._viewers: dict[asyncio.StreamWriter, Viewer] = {}
        self._server: asyncio.Server | None = None
        self._hello = b""
        self._greeting: Callable[[], bytes] = bytes
        self._newest = b""
        self._unanswered = 0

    @property
    def viewers(self) -> int:
        """Number of connected viewers."""
        return len(self._viewers)

    @property
    def unsent_bytes(self) -> list[int]:
        """Bytes buffered on this board for each viewer."""
        return [viewer.unsent_bytes() for viewer in self._viewers.values()]

    async def open(
        self,
        host: str,
        port: int,
        craft: str,
        on_command: OnCommand | None = None,
        greeting: Callable[[], bytes] = bytes,
    ) -> int:
        """Start listening; return the port, which the system chooses for 0.

        Parameters
        ----------
        host, port
            Address to listen on.
        craft
            Name of the craft.
        on_command
            Handles commands. None refuses them.
        greeting
            Returns lines to send to each new viewer after the hello.

        Raises
        ------
        FeedError
            If the address is not available, or not loopback: nothing is encrypted here.
        """
        if not is_local(host):
            raise FeedError(f"{host}: the plain feed is for this board only, such as 127.0.0.1")
        self._on_command, self._greeting = on_command, greeting
        self._hello = as_line(Hello(craft, RATE_HZ))
        try:
            self._server = await asyncio.start_server(self._serve, host, port)
        except (OSError, UnicodeError) as problem:
            raise FeedError(
                f"cannot listen on {host}:{port} ({cause_of(problem)}): "
                "stop what uses it, or choose another with --listen HOST:PORT"
            ) from None
        bound: int = self._server.sockets[0].getsockname()[1]
        return bound

    def publish(self, line: bytes, now_s: float) -> None:
        """Offer a snapshot to all viewers; never blocks.

        Parameters
        ----------
        line
            The line, newline included.
        now_s
            Monotonic time [s].
        """
        self._newest = line
        for writer, viewer in list(self._viewers.items()):
            if not viewer.offer(line, now_s):
                writer.transport.abort()
                self._viewers.pop(writer, None)

    async def close(self) -> None:
        """Stop listening and disconnect all viewers."""
        if self._server:
            self._server.close()
        for writer in list(self._viewers):
            writer.close()
        self._viewers.clear()
        await asyncio.sleep(0)

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Serve a viewer on this board."""
        if len(self._viewers) >= LOCAL_MOST:
            writer.close()
            return
        may = self._may_command(writer.get_extra_info("peername"))
        # Cancelled at the end of the run: asyncio would print a traceback (Python 3.11).
        with contextlib.suppress(asyncio.CancelledError):
            await self.admit(reader, writer, None if may else NOT_HERE)

    async def admit(
        self,
        reader: asyncio.StreamReader,
        writer: asyncio.StreamWriter,
        read_only: Refusal | None,
        below: asyncio.WriteTransport | None = None,
    ) -> None:
        """Serve a viewer until either side disconnects.

        Parameters
        ----------
        reader, writer
            The connection.
        read_only
            Why its commands are refused; None if they are not.
        below
            Transport below the encryption.
        """
        connection = writer.get_extra_info("socket")
        with contextlib.suppress(OSError):
            connection.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, SEND_BUFFER_BYTES)
        writer.transport.set_write_buffer_limits(high=SEND_BUFFER_BYTES)
        writer.write(self._hello + self._greeting() + self._newest)
        now_s = asyncio.get_running_loop().time()
        viewer = Viewer(writer, now_s, LONGEST_BYTES, read_only, below)
        self._viewers[writer] = viewer
        try:
            if await self._receive(reader, viewer):
                # It may have closed only its sending side, and still read.
                async with asyncio.timeout(ANSWER_S):
                    await viewer.answered.wait()
        except OSError:  # the connection broke, or no answer came in time
            pass
        finally:
            self._viewers.pop(writer, None)
            writer.close()

    async def _receive(self, reader: asyncio.StreamReader, viewer: Viewer) -> bool:
        """Handle a viewer's lines; return False if it is to be disconnected at once."""
        clock = asyncio.get_running_loop().time
        splitter = viewer.splitter
        while data := await reader.read(CHUNK_BYTES):
            before = splitter.oversized_lines
            lines = splitter.feed(data)
            if splitter.oversized_lines > before:
                too_long = Refusal(RefusalCode.LINE_TOO_LONG, most=LONGEST_BYTES)
                viewer.send(_ack(None, too_long))
                await viewer.writer.drain()
            if not viewer.flood.take(clock(), max(float(len(lines)), len(data) / 1024)):
                return False
            for line in lines:
                self._handle(line, viewer, clock())
                if line.strip()[:1] not in (b"", b"{"):
                    # Not a viewer. A browser directed here by some page could next send commands
                    # of that page's choice.
                    return False
                # Stop reading from a viewer that does not read its answers.
                await viewer.writer.drain()
        return True

    def _handle(self, line: bytes, viewer: Viewer, now_s: float) -> None:
        """Pass the command in a line on, or refuse it."""
        command = parse_command(line)
        why: Refusal | None = None
        if viewer.read_only is not None:
            why = viewer.read_only
        elif not viewer.commands.take(now_s):
            why = TOO_FAST
        elif isinstance(command, Refused):
            why = command.why
        elif self._on_command is None:
            why = Refusal(RefusalCode.NO_COMMANDS)
        elif self._unanswered >= UNANSWERED_MOST:
            why = Refusal(RefusalCode.TOO_MANY_WAIT)
        if why is not None or isinstance(command, Refused) or self._on_command is None:
            viewer.send(_ack(command.id, why))
            return
        reply = self._reply_to(viewer, command)
        try:
            self._on_command(command, reply)
        except Exception:
            # A fault of the daemon must not cost viewers their feed.
            log.exception("a command failed: %r", command)
            reply(Refusal(RefusalCode.FAULT), None)

    def _reply_to(self, viewer: Viewer, command: Command) -> Reply:
        """Return the function that answers a command, once."""
        self._unanswered += 1
        viewer.command_received()
        open_yet = True

        def reply(why: Refusal | None, done: Command | None = None) -> None:
            nonlocal open_yet
            if not open_yet:
                return
            open_yet = False
            self._unanswered -= 1
            viewer.command_answered()
            viewer.send(_ack(command.id, why, command=done or command))
            if why is None:
                # Without an id: other viewers may use the same numbers.
                news = _ack(None, None, by=False, command=done or command)
                for other in self._viewers.values():
                    if other is not viewer:
                        other.notify(news)

        return reply


def _ack(
    number: int | None, why: Refusal | None, *, by: bool = True, command: Command | None = None
) -> bytes:
    return as_line(Ack(number, why is None, why, by, command))
