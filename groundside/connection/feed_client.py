"""The viewer's end of the feed: connects, reconnects, gives the newest snapshot only, and speaks.

A viewer that falls behind is given the newest snapshot and never a queue; a link that drops,
falls silent or talks nonsense becomes a sentence, never an exception.
"""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Awaitable, Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from groundside.connection.address import shown
from groundside.connection.answers import ANSWER_S, Answers, Said
from groundside.connection.source import Places, ReplayControls, Update
from onboard.contract.codec import ContractError, SchemaError, from_line
from onboard.contract.commands import Command
from onboard.contract.messages import Ack, Hello
from onboard.contract.snapshot import SCHEMA, Snapshot
from onboard.contract.trip_line import TripLine
from onboard.errors import FeedError
from onboard.feed.lines import LineSplitter

if TYPE_CHECKING:
    from groundside.connection.craft_link import Joined

CHUNK_BYTES = 65_536
FIRST_WAIT_S = 0.5
LONGEST_WAIT_S = 5.0
SILENCE_S = 10.0
"""Fifty snapshots missed in a row: a connection whose other end went out of reach looks open."""


class FeedClient:
    """A snapshot source that reads the daemon's feed over TCP and never gives up.

    Parameters
    ----------
    host, port
        Where the feed is served.
    sleep
        How to wait between attempts; tests put their own here.
    silence_s
        After how long without a byte the connection counts as dead [s].
    heard
        Called with each command that the daemon did, of whichever viewer, and whether it was said
        here. It must not wait.
    dial
        Gives the connection of a paired craft; without, it is plain.
    """

    def __init__(
        self,
        host: str,
        port: int,
        *,
        sleep: Callable[[float], Awaitable[None]] = asyncio.sleep,
        silence_s: float = SILENCE_S,
        heard: Callable[[Command, bool], None] | None = None,
        dial: "Callable[[], Awaitable[Joined]] | None" = None,
    ) -> None:
        self.host = host
        self.port = port
        self.malformed_lines = 0
        self.oversized_lines = 0
        self.superseded_snapshots = 0
        self._sleep = sleep
        self._silence_s = silence_s
        self._dial = dial
        self._newest: Update | None = None
        self._trip_line: TripLine | None = None
        self._news = asyncio.Event()
        self._understood = False
        self._heard = heard
        self._writer: asyncio.StreamWriter | None = None
        self._answers = Answers(f"feed at {shown(host, port)}")

    @property
    def name(self) -> str:
        """What the source is called on the screen."""
        return f"feed {shown(self.host, self.port)}"

    @property
    def controls(self) -> ReplayControls | None:
        """None: a live feed cannot be steered."""
        return None

    @property
    def places(self) -> Places | None:
        """None: a live feed knows no place but now."""
        return None

    @property
    def talk(self) -> "FeedClient":
        """Itself: the daemon at the other end listens."""
        return self

    async def stream(self) -> AsyncIterator[Update]:
        """Return the newest update whenever there is a new one, for ever."""
        keeper = asyncio.create_task(self._keep_connected())
        try:
            while True:
                news = asyncio.create_task(self._news.wait())
                await asyncio.wait({news, keeper}, return_when=asyncio.FIRST_COMPLETED)
                if not news.done():
                    news.cancel()
                    keeper.result()  # raises what ended it: it ends only by a fault of ours
                    return
                self._news.clear()
                update, self._newest = self._newest, None
                if update is not None:
                    yield update
        finally:
            keeper.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await keeper

    async def send(self, command: Command, *, timeout_s: float = ANSWER_S) -> Said:
        """Say something to the daemon while `stream` runs, and wait for its answer.

        Parameters
        ----------
        command
            As of `groundside.connection.say.setting` and `groundside.connection.say.mark`.
        timeout_s
            How long to wait for the answer [s].

        Returns
        -------
        Said
            How it fared; whatever goes wrong is a sentence in it.
        """
        if self._writer is None or not self._understood:
            return Said(False, f"no feed at {shown(self.host, self.port)}: nothing was said")
        try:
            number, line = self._answers.line(command)
        except ValueError as problem:
            return Said(False, str(problem))
        # Without draining: a command is small, and a connection that takes none ends in silence.
        self._writer.write(line)
        return await self._answers.wait(number, timeout_s)

    def _give(self, update: Update) -> None:
        if self._newest is not None and self._newest.snapshot is not None:
            self.superseded_snapshots += 1
            if update.trip_line is None:
                # What it told of the trip is still news.
                update = replace(update, trip_line=self._newest.trip_line)
        self._newest = update
        self._news.set()

    async def _keep_connected(self) -> None:
        wait_s = FIRST_WAIT_S
        while True:
            self._understood = False
            problem = await self._read_once()
            # a feed that was understood came to an end: it may be back at once
            wait_s = FIRST_WAIT_S if self._understood else wait_s
            self._give(Update(None, f"{problem}, trying again in {wait_s:g} s"))
            await self._sleep(wait_s)
            wait_s = min(LONGEST_WAIT_S, wait_s * 2.0)

    async def _read_once(self) -> str:
        """Read one connection to its end and say why it ended."""
        where = shown(self.host, self.port)
        try:
            async with asyncio.timeout(self._silence_s):
                reader, writer, first = await self._connect()
        except (OSError, ValueError):  # ValueError: a host name that cannot be one
            return f"no feed at {where}"
        except FeedError as problem:
            return str(problem)
        self._writer = writer
        try:
            return await self._read_lines(reader, where, first)
        except TimeoutError:
            return f"nothing from {where} for {self._silence_s:g} s"
        except OSError:
            return f"feed at {where} broke off"
        finally:
            self._writer = None
            self._answers.broken_off()
            writer.close()
            with contextlib.suppress(OSError):
                await writer.wait_closed()

    async def _connect(self) -> tuple[asyncio.StreamReader, asyncio.StreamWriter, bytes]:
        """Return a connection, and what was read of it already."""
        if self._dial is None:
            return *(await asyncio.open_connection(self.host, self.port)), b""
        there = await self._dial()
        return there.reader, there.writer, there.first

    async def _read_lines(self, reader: asyncio.StreamReader, where: str, first: bytes) -> str:
        splitter = LineSplitter()
        while True:
            data, first = first, b""
            if not data:
                async with asyncio.timeout(self._silence_s):
                    data = await reader.read(CHUNK_BYTES)
            if not data:
                return f"feed at {where} ended"
            dropped_before = splitter.oversized_lines
            lines = splitter.feed(data)
            self.oversized_lines += splitter.oversized_lines - dropped_before
            for line in lines:
                problem = self._take_line(line, where)
                if problem is not None:
                    return problem

    def _take_line(self, line: bytes, where: str) -> str | None:
        """Take one line; give a sentence where this connection is of no use."""
        if not line.strip():
            return None
        try:
            message = from_line(line)
        except SchemaError as other:
            return (
                f"feed at {where} speaks schema {other}, this viewer knows {SCHEMA}: "
                "install the same version on both sides"
            )
        except ContractError:
            self.malformed_lines += 1
            return None if self._understood else f"what answers at {where} is not a feed"
        if isinstance(message, Hello | Snapshot):
            self._understood = True
        if isinstance(message, Snapshot):
            self._give(Update(message, trip_line=self._trip_line))
            self._trip_line = None
        elif isinstance(message, TripLine):
            self._trip_line = message
        elif isinstance(message, Ack):
            self._answers.take(message)
            if self._heard is not None and message.ok and message.command is not None:
                self._heard(message.command, message.by)
        return None
