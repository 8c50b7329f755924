"""The encrypted door: where viewers from elsewhere come in, once it is known who they are.

It opens by itself when the craft was paired, and says nothing to anybody who does not begin with
a good token or code. What happens here cannot hold up the daemon: every wait ends, and everything
that can pile up is counted.
"""

import asyncio
import contextlib
import logging
import socket
import ssl
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from onboard.contract.refusals import Refusal, RefusalCode
from onboard.crew.announce import Announcing
from onboard.crew.encrypted import Hand, encrypted
from onboard.crew.joining import (
    FIRST_LINE_MOST_BYTES,
    REFUSED,
    Join,
    Pair,
    full_line,
    paired_line,
    parse_first,
)
from onboard.crew.keys import identity_path, is_paired, own_fingerprint, server_context
from onboard.crew.limits import Limits, counted_as
from onboard.crew.members import VIEWER, Crew, CrewBook, Member
from onboard.errors import UsageError
from onboard.feed.server import FeedServer

LOOK_S: Final = 1.0
"""How often the door looks whether there is a key, and who was revoked."""
KNOWN_WITHIN_S: Final = 5.0
"""Handshake and first line together."""
EACH_MOST: Final = 8
"""Connections with one token: the screens of one person."""
BACKLOG: Final = 128
SHUT_S: Final = 2.0
HELD_MOST: Final = 128
"""Connections, of all addresses, that wait until others of their address are done."""
HELD_S, HELD_STEP_S = 3.0, 0.1
REST_S: Final = 0.001
"""After each connection that is not heard: a flood of them takes no more of the board."""

LOOK_ONLY: Final = Refusal(RefusalCode.LOOKS_ON)

log = logging.getLogger("wattwake")


@dataclass(frozen=True)
class DoorSettings:
    """Where the door is, where the pairing is kept, and how many may be in."""

    host: str
    port: int
    folder: Path
    craft: str
    viewers_most: int = 32


class CrewDoor:
    """Lets paired viewers in.

    Parameters
    ----------
    settings
        Where.
    feed
        Serves who was let in.
    opened
        Told the port when the door opens.
    """

    def __init__(
        self,
        settings: DoorSettings,
        feed: FeedServer,
        opened: Callable[[int], None] = lambda _: None,
    ) -> None:
        self._settings = settings
        self._feed = feed
        self._opened = opened
        self._book = CrewBook(settings.folder)
        self._limits = Limits(settings.viewers_most)
        self._crew = Crew()
        self._crew_stamp: object = ()
        self._context: ssl.SSLContext | None = None
        self._key_stamp: object = None
        self._inlet: socket.socket | None = None
        self._accepting: asyncio.Task[None] | None = None
        self._talks: set[asyncio.Task[None]] = set()
        self._held = 0
        self._inside: dict[Hand, Member] = {}
        self._announcing: asyncio.Task[None] | None = None
        self._said: set[str] = set()

    async def run(self) -> None:
        """Keep the door, until this is cancelled."""
        try:
            while True:
                try:
                    await self.look()
                except OSError as problem:
                    self._say_once(f"the pairing cannot be looked at ({problem.strerror})")
                await asyncio.sleep(LOOK_S)
        finally:
            await self._shut()

    async def look(self) -> None:
        """Open or shut the door as the pairing says now, and put out whom it no longer names."""
        if not is_paired(self._settings.folder):
            if self._inlet is not None:
                log.warning("the pairing is gone: the feed is for this board only")
                await self._shut()
            return
        self._load_key()
        self._refresh()
        if self._context is not None and self._inlet is None:
            await self._open()

    def _load_key(self) -> None:
        there = identity_path(self._settings.folder).stat()
        stamp = there.st_ino, there.st_mtime_ns
        if stamp == self._key_stamp:
            return
        self._key_stamp = stamp
        try:
            own_fingerprint(self._settings.folder)
            self._context = server_context(self._settings.folder)
        except UsageError as problem:
            log.error("%s; the feed is for this board only", problem)
            self._context = None

    def _refresh(self) -> None:
        """Read the crew where its file was replaced; who is no longer in it is put out."""
        stamp = self._book.stamp()
        if stamp == self._crew_stamp:
            return
        self._crew_stamp = stamp
        try:
            self._crew = self._book.read()
        except UsageError as problem:
            # Those who are in were let in rightly; nobody else is.
            log.error("%s", problem)
            self._crew = Crew(tuple(self._inside.values()))
            return
        for hand, member in list(self._inside.items()):
            if member not in self._crew.members:
                hand.drop()

    async def _open(self) -> None:
        settings = self._settings
        try:
            # Looked up beside all else: a name may take its time.
            found = await asyncio.get_running_loop().getaddrinfo(
                settings.host, settings.port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
            )
            self._inlet = _listening(found[0][0], found[0][4])
        except (OSError, UnicodeError) as problem:
            cause = (getattr(problem, "strerror", None) or str(problem)).lower()
            self._say_once(
                f"the crew's feed cannot be had on {settings.host}:{settings.port} ({cause}): "
                "stop what uses it, or choose another with feed.crew_listen"
            )
            return
        port = self._inlet.getsockname()[1]
        self._accepting = asyncio.create_task(self._accept(self._inlet))
        announcing = Announcing(settings.folder, settings.host, port)
        self._announcing = asyncio.create_task(announcing.run())
        self._opened(port)

    async def _shut(self) -> None:
        """Put out everybody, and listen no more."""
        ending = {task for task in (self._accepting, self._announcing) if task is not None}
        ending |= self._talks
        for task in ending:
            task.cancel()
        for hand in list(self._inside):
            hand.drop()
        if ending:
            await asyncio.wait(ending, timeout=SHUT_S)
        if self._inlet is not None:
            self._inlet.close()
        self._inlet = self._accepting = self._announcing = None
        self._context = self._key_stamp = None

    async def _accept(self, inlet: socket.socket) -> None:
        loop = asyncio.get_running_loop()
        while True:
            try:
                connection, peer = await loop.sock_accept(inlet)
            except OSError as problem:
                # Out of descriptors, or it was gone again: neither ends the door.
                self._say_once(f"a connection could not be taken ({problem.strerror})")
                await asyncio.sleep(0.1)
                continue
            address = counted_as(peer)
            crowded = self._held < HELD_MOST and self._limits.is_crowded(address, loop.time())
            context = None if crowded else self._heard(address)
            if not crowded and context is None:
                connection.close()
                await asyncio.sleep(REST_S)
                continue
            connection.setblocking(False)
            task = asyncio.create_task(
                self._hold(connection, address)
                if context is None
                else self._receive(connection, address, context)
            )
            self._talks.add(task)
            task.add_done_callback(self._talks.discard)
            # What is accepted at once does not wait: others must have their turn.
            await asyncio.sleep(0)

    def _heard(self, address: str) -> ssl.SSLContext | None:
        """Return the key for a new connection, None where it is not heard."""
        now_s = asyncio.get_running_loop().time()
        if self._context is None or not self._limits.come(address, now_s):
            return None
        return self._context

    async def _hold(self, connection: socket.socket, address: str) -> None:
        """Have it wait for the others of its address: a crew may come back all at once."""
        clock = asyncio.get_running_loop().time
        self._held += 1
        try:
            until_s = clock() + HELD_S
            while self._limits.is_crowded(address, clock()) and clock() < until_s:
                await asyncio.sleep(HELD_STEP_S)
            context = self._heard(address)
        except BaseException:
            connection.close()
            raise
        finally:
            self._held -= 1
        if context is None:
            connection.close()
        else:
            await self._receive(connection, address, context)

    async def _receive(
        self, connection: socket.socket, address: str, context: ssl.SSLContext
    ) -> None:
        """Find out who it is, serve whom the crew names, and leave nothing open."""
        hands: list[Hand] = []
        try:
            found = await self._met(connection, address, context, hands)
            if found is not None:
                await self._let_in(hands[0], *found)
            elif hands:
                await _last_word(hands[0], REFUSED)
        finally:
            for hand in hands:
                hand.drop()

    async def _met(
        self,
        connection: socket.socket,
        address: str,
        context: ssl.SSLContext,
        hands: list[Hand],
    ) -> tuple[Member, str | None] | None:
        """Shake hands and hear the first line, all within some seconds; give who it is."""
        found: tuple[Member, str | None] | None = None
        try:
            async with asyncio.timeout(KNOWN_WITHIN_S):
                hands.append(await encrypted(connection, context, KNOWN_WITHIN_S))
                line = await hands[0].reader.readuntil(b"\n")
                found = await self._who(line)
        except (OSError, EOFError, asyncio.LimitOverrunError):
            pass
        except UsageError as problem:
            self._say_once(str(problem))
        except Exception:
            # Whatever it is, it is not let in, and the door stays open for the others.
            log.exception("a connection failed in a way that nobody foresaw")
        finally:
            if found is None:
                self._limits.left(address, asyncio.get_running_loop().time())
            else:
                self._limits.known(address)
        return found

    async def _who(self, line: bytes) -> tuple[Member, str | None] | None:
        """Return the member, and the token that it is to have where it came with a code."""
        if len(line) > FIRST_LINE_MOST_BYTES:
            return None
        match parse_first(line):
            case Join(token):
                self._refresh()
                member = self._crew.member_with(token)
                return None if member is None else (member, None)
            case Pair(code, name):
                if not self._limits.code(asyncio.get_running_loop().time()):
                    return None
                # On a card it may take a while until it is written.
                made = await asyncio.to_thread(self._book.redeem, code, name)
                self._refresh()
                if made is None or made[0] not in self._crew.members:
                    return None
                # As its own text: of those who join within a minute each is said.
                log.info("%s", f"{made[0].name} joined as {made[0].role}")
                return made
        return None

    async def _let_in(self, hand: Hand, member: Member, token: str | None) -> None:
        if token is not None:
            craft = self._settings.craft
            hand.writer.write(paired_line(token, member.name, member.role, craft))
        most = self._settings.viewers_most
        if len(self._inside) >= most:
            full = Refusal(RefusalCode.TOO_MANY_VIEWERS, most=most)
            await _last_word(hand, full_line(full))
            return
        if sum(one == member for one in self._inside.values()) >= EACH_MOST:
            full = Refusal(RefusalCode.TOO_MANY_SCREENS, name=member.name, most=EACH_MOST)
            await _last_word(hand, full_line(full))
            return
        self._inside[hand] = member
        try:
            may_not = LOOK_ONLY if member.role == VIEWER else None
            await self._feed.admit(hand.reader, hand.writer, may_not, hand.below)
        finally:
            self._inside.pop(hand, None)

    def _say_once(self, text: str) -> None:
        if text not in self._said and len(self._said) < 100:
            self._said.add(text)
            log.warning("%s", text)


async def _last_word(hand: Hand, line: bytes) -> None:
    """Say one thing and hang up."""
    with contextlib.suppress(OSError):
        hand.writer.write(line)
        hand.writer.close()
        async with asyncio.timeout(KNOWN_WITHIN_S):
            await hand.writer.wait_closed()


def _listening(family: int, address: tuple[Any, ...]) -> socket.socket:
    """Listen, without waiting for anybody."""
    inlet = socket.socket(family, socket.SOCK_STREAM)
    try:
        inlet.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        inlet.bind(address)
        inlet.listen(BACKLOG)
        inlet.setblocking(False)
    except BaseException:
        inlet.close()
        raise
    return inlet
