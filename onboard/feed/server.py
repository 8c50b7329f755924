"""The feed's server: the newest snapshot to every viewer, and what viewers say to the daemon.

What it listens on itself is plain, for this board only. Viewers from elsewhere come in by the
encrypted door (`onboard/crew`), which hands them over once it knows who they are. No viewer ever
holds up the daemon or another viewer: neither one that does not read, nor one that does not stop
talking.
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
from onboard.errors import FeedError, UsageError
from onboard.feed.viewer import LINES_PER_S, SEND_BUFFER_BYTES, Viewer, is_loopback

CHUNK_BYTES = 4096

WAITING_MOST = 64
"""Commands of all viewers that wait for their answers; more are refused."""

LOCAL_MOST = 128
"""Viewers on this board itself; each browser of `serve` is one."""

ANSWER_S = 2.0
"""A viewer that said its last word still gets the answer, if it comes within this."""

OnCommand = Callable[[Command, Reply], None]
"""Takes a command and the way to answer it; it must not wait, and answers once, now or later."""

NOT_HERE = Refusal(RefusalCode.NOT_HERE)
TOO_FAST = Refusal(RefusalCode.TOO_FAST, most=round(LINES_PER_S))
RATE_HZ = 5.0

log = logging.getLogger("wattwake")


def parse_listen(text: str, option: str = "--listen") -> tuple[str, int]:
    """Split HOST:PORT, as given behind an option.

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
    if not host or not is_port(port):
        raise UsageError(f"{option} {text}: expected HOST:PORT, such as 127.0.0.1:27220")
    return host.strip("[]"), int(port)


def is_port(text: str) -> bool:
    """Return whether a text is a port's number.

    Examples
    --------
    >>> [is_port(text) for text in ("27220", "65536", "-1", "1" * 5000)]
    [True, False, False, False]
    """
    return text.isdecimal() and len(text) <= len("65535") and int(text) <= 65535


def is_local(host: str) -> bool:
    """Return whether an address to listen on can be reached from this board only.

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
    """Serves snapshots as lines of JSON over TCP, and hears commands.

    Parameters
    ----------
    may_command
        Tells by a connection's other end whether it may say anything.
    """

    def __init__(self, may_command: Callable[[Any], bool] = is_loopback) -> None:
        self._may_command = may_command
        self._on_command: OnCommand | None = None
        self._viewers: dict[asyncio.StreamWriter, Viewer] = {}
        self._server: asyncio.Server | None = None
        self._hello = b""
        self._greeting: Callable[[], bytes] = bytes
        self._newest = b""
        self._waiting = 0

    @property
    def viewers(self) -> int:
        """How many viewers are connected."""
        return len(self._viewers)

    async def open(
        self,
        host: str,
        port: int,
        craft: str,
        on_command: OnCommand | None = None,
        greeting: Callable[[], bytes] = bytes,
    ) -> int:
        """Listen, and give the port (useful where 0 asked for any).

        Parameters
        ----------
        host, port
            Where.
        craft
            What to call it.
        on_command
            Takes what viewers say. None refuses it.
        greeting
            Gives lines that each new viewer is told behind the hello.

        Raises
        ------
        FeedError
            If the address cannot be had, or is one that others reach: nothing is encrypted here.
        """
        if not is_local(host):
            raise FeedError(f"{host}: the plain feed is for this board only, such as 127.0.0.1")
        self._on_command, self._greeting = on_command, greeting
        self._hello = as_line(Hello(craft, RATE_HZ))
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
        """Take a viewer of this board."""
        if len(self._viewers) >= LOCAL_MOST:
            writer.close()
            return
        may = self._may_command(writer.get_extra_info("peername"))
        # Cancelled at the end of all: asyncio would write a traceback of it (Python 3.11).
        with contextlib.suppress(asyncio.CancelledError):
            await self.admit(reader, writer, None if may else NOT_HERE)

    async def admit(
        self,
        reader: asyncio.StreamReader,
        writer: asyncio.StreamWriter,
        may_not: Refusal | None,
        below: asyncio.WriteTransport | None = None,
    ) -> None:
        """Serve a viewer until it leaves or is put out.

        Parameters
        ----------
        reader, writer
            The connection.
        may_not
            Why it may say nothing; None if it may.
        below
            What an encrypted connection writes to.
        """
        connection = writer.get_extra_info("socket")
        with contextlib.suppress(OSError):
            connection.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, SEND_BUFFER_BYTES)
        writer.transport.set_write_buffer_limits(high=SEND_BUFFER_BYTES)
        writer.write(self._hello + self._greeting() + self._newest)
        now_s = asyncio.get_running_loop().time()
        viewer = Viewer(writer, now_s, LONGEST_BYTES, may_not, below)
        self._viewers[writer] = viewer
        try:
            if await self._listen(reader, viewer):
                # It may have closed its own end only: it still reads.
                async with asyncio.timeout(ANSWER_S):
                    await viewer.answered.wait()
        except OSError:  # the connection broke, or no answer came in time
            pass
        finally:
            self._viewers.pop(writer, None)
            writer.close()

    async def _listen(self, reader: asyncio.StreamReader, viewer: Viewer) -> bool:
        """Hear a viewer out; give whether it came to its end, or else is to be put out."""
        clock = asyncio.get_running_loop().time
        splitter = viewer.splitter
        while data := await reader.read(CHUNK_BYTES):
            before = splitter.oversized_lines
            lines = splitter.feed(data)
            if splitter.oversized_lines > before:
                too_long = Refusal(RefusalCode.LINE_TOO_LONG, most=LONGEST_BYTES)
                viewer.tell(_ack(None, too_long))
                await viewer.writer.drain()
            if not viewer.flood.take(clock(), max(float(len(lines)), len(data) / 1024)):
                return False
            for line in lines:
                self._hear(line, viewer, clock())
                if line.strip()[:1] not in (b"", b"{"):
                    # No viewer of ours. A browser that some page sent here could be next to say
                    # what that page wants.
                    return False
                # One that does not read its answers is not read on.
                await viewer.writer.drain()
        return True

    def _hear(self, line: bytes, viewer: Viewer, now_s: float) -> None:
        """Take one line: hand it on, or say why not."""
        said = parse_command(line)
        why: Refusal | None = None
        if viewer.may_not is not None:
            why = viewer.may_not
        elif not viewer.lines.take(now_s):
            why = TOO_FAST
        elif isinstance(said, Refused):
            why = said.why
        elif self._on_command is None:
            why = Refusal(RefusalCode.NO_COMMANDS)
        elif self._waiting >= WAITING_MOST:
            why = Refusal(RefusalCode.TOO_MANY_WAIT)
        if why is not None or isinstance(said, Refused) or self._on_command is None:
            viewer.tell(_ack(said.id, why))
            return
        reply = self._reply_to(viewer, said)
        try:
            self._on_command(said, reply)
        except Exception:
            # A fault of ours must not cost the viewers their feed.
            log.exception("a command failed: %r", said)
            reply(Refusal(RefusalCode.FAULT), None)

    def _reply_to(self, viewer: Viewer, said: Command) -> Reply:
        """Return the way to answer a command, once."""
        self._waiting += 1
        viewer.ask()
        open_yet = True

        def reply(why: Refusal | None, done: Command | None = None) -> None:
            nonlocal open_yet
            if not open_yet:
                return
            open_yet = False
            self._waiting -= 1
            viewer.answer()
            command = done or said
            viewer.tell(_ack(said.id, why, command=command))
            if why is None:
                # Without an id: the others' own numbers may be the same.
                news = _ack(None, None, by=False, command=command)
                for other in self._viewers.values():
                    if other is not viewer:
                        other.tell_news(news)

        return reply


def _ack(
    number: int | None, why: Refusal | None, *, by: bool = True, command: Command | None = None
) -> bytes:
    return as_line(Ack(number, why is None, why, by, command))


def _cause(problem: OSError | UnicodeError) -> str:
    return (getattr(problem, "strerror", None) or str(problem)).lower()
