"""The viewer's end of the feed: connects, reconnects, yields the newest snapshot, sends commands.

A viewer that falls behind gets the newest snapshot, never a queue. A connection that drops, falls
silent or sends malformed data becomes a sentence for the rider, never an exception.
"""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Awaitable, Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from groundside.connection.address import format_address
from groundside.connection.commands import ACK_TIMEOUT_S, CommandResult, PendingCommands
from groundside.connection.source import Update
from onboard.contract.codec import ContractError, SchemaError, from_line
from onboard.contract.commands import Command
from onboard.contract.messages import Ack, Hello
from onboard.contract.snapshot import SCHEMA, Snapshot
from onboard.contract.trip_line import TripLine
from onboard.errors import FeedError
from onboard.feed.lines import LineSplitter

if TYPE_CHECKING:
    from groundside.connection.crew_client import JoinedFeed

CHUNK_BYTES = 65_536
FIRST_WAIT_S = 0.5
LONGEST_WAIT_S = 5.0
SILENCE_S = 10.0
"""Silence after which a connection counts as lost [s]: fifty snapshots missed in a row. If the
other end goes out of reach, the connection still looks open."""


class FeedClient:
    """A snapshot source that reads the daemon's feed over TCP, reconnecting without limit.

    Parameters
    ----------
    host, port
        Address of the feed.
    sleep
        Sleeps between attempts; replaced in tests.
    silence_s
        Time without a byte after which the connection counts as lost [s].
    connect
        Joins the feed of a paired craft; without it the connection is plain.
    """

    controls = None
    seek_controls = None

    def __init__(
        self,
        host: str,
        port: int,
        *,
        sleep: Callable[[float], Awaitable[None]] = asyncio.sleep,
        silence_s: float = SILENCE_S,
        connect: "Callable[[], Awaitable[JoinedFeed]] | None" = None,
    ) -> None:
        self.host = host
        self.port = port
        self.malformed_lines = 0
        self.oversized_lines = 0
        self.superseded_snapshots = 0
        self._address = format_address(host, port)
        self.name = f"feed {self._address}"
        self._sleep = sleep
        self._silence_s = silence_s
        self._join = connect
        self._newest: Update | None = None
        self._trip_line: TripLine | None = None
        self._updated = asyncio.Event()
        self._understood = False
        self._writer: asyncio.StreamWriter | None = None
        self._pending = PendingCommands(f"feed at {self._address}")

    @property
    def command_sender(self) -> "FeedClient":
        """The client itself: the daemon at the other end accepts commands."""
        return self

    async def stream(self) -> AsyncIterator[Update]:
        """Yield the newest update whenever there is a new one, for ever."""
        keeper = asyncio.create_task(self._keep_connected())
        try:
            while True:
                updated = asyncio.create_task(self._updated.wait())
                await asyncio.wait({updated, keeper}, return_when=asyncio.FIRST_COMPLETED)
                if not updated.done():
                    updated.cancel()
                    keeper.result()  # raises: it ends only on a programming error
                    return
                self._updated.clear()
                update, self._newest = self._newest, None
                if update is not None:
                    yield update
        finally:
            keeper.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await keeper

    async def send(self, command: Command, *, timeout_s: float = ACK_TIMEOUT_S) -> CommandResult:
        """Send a command to the daemon while `stream` runs, and wait for its result.

        Parameters
        ----------
        command
            A command made by `groundside.connection.commands`.
        timeout_s
            Time limit for the acknowledgement [s].

        Returns
        -------
        CommandResult
            The result; any failure is a sentence in it.
        """
        if self._writer is None or not self._understood:
            return CommandResult(False, f"no feed at {self._address}: nothing was said")
        try:
            number, line = self._pending.encode(command)
        except ValueError as problem:
            return CommandResult(False, str(problem))
        # Not drained: a command is small, and a stuck connection ends by the silence timeout.
        self._writer.write(line)
        return await self._pending.wait(number, timeout_s)

    def _publish(self, update: Update) -> None:
        if self._newest is not None and self._newest.snapshot is not None:
            self.superseded_snapshots += 1
            if update.trip_line is None:
                # The trip line of the superseded update is still news.
                update = replace(update, trip_line=self._newest.trip_line)
        self._newest = update
        self._updated.set()

    async def _keep_connected(self) -> None:
        wait_s = FIRST_WAIT_S
        while True:
            self._understood = False
            problem = await self._read_once()
            # After a feed that was understood, retry soon.
            wait_s = FIRST_WAIT_S if self._understood else wait_s
            self._publish(Update(None, f"{problem}, trying again in {wait_s:g} s"))
            await self._sleep(wait_s)
            wait_s = min(LONGEST_WAIT_S, wait_s * 2.0)

    async def _read_once(self) -> str:
        """Read one connection to its end and return why it ended."""
        try:
            async with asyncio.timeout(self._silence_s):
                reader, writer, first_line = await self._connect()
        except (OSError, ValueError):  # ValueError: an impossible host name
            return f"no feed at {self._address}"
        except FeedError as problem:
            return str(problem)
        self._writer = writer
        try:
            return await self._read_lines(reader, first_line)
        except TimeoutError:
            return f"nothing from {self._address} for {self._silence_s:g} s"
        except OSError:
            return f"feed at {self._address} broke off"
        finally:
            self._writer = None
            self._pending.disconnect()
            writer.close()
            with contextlib.suppress(OSError):
                await writer.wait_closed()

    async def _connect(self) -> tuple[asyncio.StreamReader, asyncio.StreamWriter, bytes]:
        """Return a connection, and the data already read from it."""
        if self._join is None:
            return *(await asyncio.open_connection(self.host, self.port)), b""
        feed = await self._join()
        return feed.reader, feed.writer, feed.first_line

    async def _read_lines(self, reader: asyncio.StreamReader, data: bytes) -> str:
        splitter = LineSplitter()
        while True:
            if not data:
                async with asyncio.timeout(self._silence_s):
                    data = await reader.read(CHUNK_BYTES)
            if not data:
                return f"feed at {self._address} ended"
            dropped_before = splitter.oversized_lines
            lines, data = splitter.feed(data), b""
            self.oversized_lines += splitter.oversized_lines - dropped_before
            for line in lines:
                problem = self._take_line(line)
                if problem is not None:
                    return problem

    def _take_line(self, line: bytes) -> str | None:
        """Process one line; return a sentence if the connection is unusable."""
        if not line.strip():
            return None
        try:
            message = from_line(line)
        except SchemaError as other:
            return (
                f"feed at {self._address} speaks schema {other}, this viewer knows {SCHEMA}: "
                "install the same version on both sides"
            )
        except ContractError:
            self.malformed_lines += 1
            return None if self._understood else f"what answers at {self._address} is not a feed"
        if isinstance(message, Hello | Snapshot):
            self._understood = True
        if isinstance(message, Snapshot):
            self._publish(Update(message, trip_line=self._trip_line))
            self._trip_line = None
        elif isinstance(message, TripLine):
            self._trip_line = message
        elif isinstance(message, Ack):
            self._pending.acknowledge(message)
        return None
