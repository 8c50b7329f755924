"""The encrypted door: authenticates viewers from elsewhere and hands them to the feed.

It opens by itself once the craft is paired, and sends nothing to a connection that does not begin
with a valid token or code. It cannot delay the daemon: every wait has a timeout and everything
that can accumulate is bounded. The wire format and the threat model are in this room's README.
"""

import asyncio
import contextlib
import logging
import socket
import ssl
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from onboard.contract.refusals import Refusal, RefusalCode
from onboard.crew.announce import Announcing
from onboard.crew.encrypted import EncryptedConnection, accept_encrypted
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
from onboard.dataclass import dataclass
from onboard.errors import UsageError, cause_of
from onboard.feed.server import FeedServer

POLL_S: Final = 1.0
"""Interval between checks for a key and for revoked viewers."""
AUTHENTICATE_S: Final = 5.0
"""Longest handshake and first line together."""
EACH_MOST: Final = 8
"""Connections with one token: the screens of one person."""
BACKLOG: Final = 128
SHUT_S: Final = 2.0
QUEUED_MOST: Final = 128
"""Connections from all addresses that wait for earlier ones of their address to authenticate."""
QUEUED_S, QUEUED_STEP_S = 3.0, 0.1
REFUSED_PAUSE_S: Final = 0.001
"""Pause after each refused connection [s]: bounds the load of a flood of them."""

READ_ONLY: Final = Refusal(RefusalCode.LOOKS_ON)

log = logging.getLogger("wattwake")


@dataclass(frozen=True)
class DoorSettings:
    """Where to listen, where the pairing is kept, and how many viewers to admit."""

    host: str
    port: int
    folder: Path
    craft: str
    viewers_most: int = 32


class CrewDoor:
    """Admit paired viewers.

    Parameters
    ----------
    settings
        Where to listen, and the pairing to admit by.
    feed
        Serves the admitted viewers.
    opened
        Called with the port when the door opens.
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
        self.limits = Limits(settings.viewers_most)
        self.context: ssl.SSLContext | None = None
        """TLS with the craft's key; None without a usable one."""
        self._crew = Crew()
        self._crew_stamp: object = ()
        self._key_stamp: object = None
        self._listener: socket.socket | None = None
        self._accepting: asyncio.Task[None] | None = None
        self._tasks: set[asyncio.Task[None]] = set()
        self._queued = 0
        self._inside: dict[EncryptedConnection, Member] = {}
        self._announcing: asyncio.Task[None] | None = None
        self._logged: set[str] = set()

    async def run(self) -> None:
        """Open and shut the door as the pairing requires, until cancelled."""
        try:
            while True:
                try:
                    await self.update()
                except OSError as problem:
                    self._warn_once(f"the pairing cannot be looked at ({problem.strerror})")
                await asyncio.sleep(POLL_S)
        finally:
            await self._shut()

    async def update(self) -> None:
        """Open or shut the door to match the pairing, and disconnect revoked viewers."""
        if not is_paired(self._settings.folder):
            if self._listener is not None:
                log.warning("the pairing is gone: the feed is for this board only")
                await self._shut()
            return
        self.load_key()
        self._refresh()
        if self.context is not None and self._listener is None:
            await self._open()

    def load_key(self) -> None:
        """Load the key if its file was replaced."""
        status = identity_path(self._settings.folder).stat()
        stamp = status.st_ino, status.st_mtime_ns
        if stamp == self._key_stamp:
            return
        self._key_stamp = stamp
        try:
            own_fingerprint(self._settings.folder)
            self.context = server_context(self._settings.folder)
        except UsageError as problem:
            log.error("%s; the feed is for this board only", problem)
            self.context = None

    def _refresh(self) -> None:
        """Reload the crew if its file was replaced, and disconnect viewers no longer in it."""
        stamp = self._book.stamp()
        if stamp == self._crew_stamp:
            return
        self._crew_stamp = stamp
        try:
            self._crew = self._book.read()
        except UsageError as problem:
            # Viewers already connected were admitted properly; no others are admitted.
            log.error("%s", problem)
            self._crew = Crew(tuple(self._inside.values()))
            return
        for connection, member in list(self._inside.items()):
            if member not in self._crew.members:
                connection.abort()

    async def _open(self) -> None:
        settings = self._settings
        try:
            # Asynchronous: resolving a name may take long.
            (family, *_, address), *_ = await asyncio.get_running_loop().getaddrinfo(
                settings.host, settings.port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
            )
            self._listener = _listening(family, address)
        except (OSError, UnicodeError) as problem:
            self._warn_once(
                f"the crew's feed cannot be had on {settings.host}:{settings.port} "
                f"({cause_of(problem)}): stop what uses it, or choose another with feed.crew_listen"
            )
            return
        port = self._listener.getsockname()[1]
        self._accepting = asyncio.create_task(self._accept(self._listener))
        announcing = Announcing(settings.folder, settings.host, port)
        self._announcing = asyncio.create_task(announcing.run())
        self._opened(port)

    async def _shut(self) -> None:
        """Stop listening and disconnect all viewers."""
        ending = {task for task in (self._accepting, self._announcing) if task is not None}
        ending |= self._tasks
        for task in ending:
            task.cancel()
        for connection in list(self._inside):
            connection.abort()
        if ending:
            await asyncio.wait(ending, timeout=SHUT_S)
        if self._listener is not None:
            self._listener.close()
        self._listener = self._accepting = self._announcing = None
        self.context = self._key_stamp = None

    async def _accept(self, listener: socket.socket) -> None:
        loop = asyncio.get_running_loop()
        while True:
            try:
                connection, peer = await loop.sock_accept(listener)
            except OSError as problem:
                # Out of descriptors, or the peer has gone already: neither closes the door.
                self._warn_once(f"a connection could not be taken ({problem.strerror})")
                await asyncio.sleep(0.1)
                continue
            address = counted_as(peer)
            crowded = self._queued < QUEUED_MOST and self.limits.is_crowded(address, loop.time())
            context = None if crowded else self._accepted(address)
            if not crowded and context is None:
                connection.close()
                await asyncio.sleep(REFUSED_PAUSE_S)
                continue
            connection.setblocking(False)
            task = asyncio.create_task(
                self._queue(connection, address)
                if context is None
                else self._receive(connection, address, context)
            )
            self._tasks.add(task)
            task.add_done_callback(self._tasks.discard)
            # Accepting need not block: let other tasks run.
            await asyncio.sleep(0)

    def _accepted(self, address: str) -> ssl.SSLContext | None:
        """Return the TLS context for a new connection; None refuses it."""
        now_s = asyncio.get_running_loop().time()
        if self.context is None or not self.limits.come(address, now_s):
            return None
        return self.context

    async def _queue(self, connection: socket.socket, address: str) -> None:
        """Queue a connection behind those of its address: a whole crew may reconnect at once."""
        clock = asyncio.get_running_loop().time
        self._queued += 1
        try:
            until_s = clock() + QUEUED_S
            while self.limits.is_crowded(address, clock()) and clock() < until_s:
                await asyncio.sleep(QUEUED_STEP_S)
            context = self._accepted(address)
        except BaseException:
            connection.close()
            raise
        finally:
            self._queued -= 1
        if context is None:
            connection.close()
        else:
            await self._receive(connection, address, context)

    async def _receive(self, plain: socket.socket, address: str, context: ssl.SSLContext) -> None:
        """Authenticate a connection, serve it if it is of the crew, and close it."""
        opened: list[EncryptedConnection] = []
        try:
            found = await self._authenticate(plain, address, context, opened)
            if found is not None:
                await self._admit(opened[0], *found)
            elif opened:
                await _send_and_close(opened[0], REFUSED)
        finally:
            for connection in opened:
                connection.abort()

    async def _authenticate(
        self,
        plain: socket.socket,
        address: str,
        context: ssl.SSLContext,
        opened: list[EncryptedConnection],
    ) -> tuple[Member, str | None] | None:
        """Do the handshake, read the first line within the time allowed and identify the viewer.

        The encrypted connection is appended to `opened`, even if a later step fails.
        """
        found: tuple[Member, str | None] | None = None
        try:
            async with asyncio.timeout(AUTHENTICATE_S):
                opened.append(await accept_encrypted(plain, context, AUTHENTICATE_S))
                found = await self.identify(await opened[0].reader.readuntil(b"\n"))
        except (OSError, EOFError, asyncio.LimitOverrunError):
            pass
        except UsageError as problem:
            self._warn_once(str(problem))
        except Exception:
            # On any fault, refuse this connection and keep the door open for others.
            log.exception("a connection failed in a way that nobody foresaw")
        finally:
            if found is None:
                self.limits.left(address, asyncio.get_running_loop().time())
            else:
                self.limits.known(address)
        return found

    async def identify(self, line: bytes) -> tuple[Member, str | None] | None:
        """Return the member that sent a first line, with a new token if it contained a code."""
        if len(line) > FIRST_LINE_MOST_BYTES:
            return None
        match parse_first(line):
            case Join(token):
                self._refresh()
                member = self._crew.member_with(token)
                return None if member is None else (member, None)
            case Pair(code, name):
                if not self.limits.code(asyncio.get_running_loop().time()):
                    return None
                # In a thread: writing to a card may take a while.
                made = await asyncio.to_thread(self._book.redeem, code, name)
                self._refresh()
                if made is None or made[0] not in self._crew.members:
                    return None
                # Formatted here, so that the log filter treats each name as a separate message.
                log.info("%s", f"{made[0].name} joined as {made[0].role}")
                return made
        return None

    async def _admit(
        self, connection: EncryptedConnection, member: Member, token: str | None
    ) -> None:
        if token is not None:
            craft = self._settings.craft
            connection.writer.write(paired_line(token, member.name, member.role, craft))
        most = self._settings.viewers_most
        if len(self._inside) >= most:
            full = Refusal(RefusalCode.TOO_MANY_VIEWERS, most=most)
            await _send_and_close(connection, full_line(full))
            return
        if sum(viewer == member for viewer in self._inside.values()) >= EACH_MOST:
            full = Refusal(RefusalCode.TOO_MANY_SCREENS, name=member.name, most=EACH_MOST)
            await _send_and_close(connection, full_line(full))
            return
        self._inside[connection] = member
        try:
            read_only = READ_ONLY if member.role == VIEWER else None
            await self._feed.admit(
                connection.reader, connection.writer, read_only, connection.below
            )
        finally:
            self._inside.pop(connection, None)

    def _warn_once(self, text: str) -> None:
        if text not in self._logged and len(self._logged) < 100:
            self._logged.add(text)
            log.warning("%s", text)


async def _send_and_close(connection: EncryptedConnection, line: bytes) -> None:
    with contextlib.suppress(OSError):
        connection.writer.write(line)
        connection.writer.close()
        async with asyncio.timeout(AUTHENTICATE_S):
            await connection.writer.wait_closed()


def _listening(family: int, address: tuple[Any, ...]) -> socket.socket:
    """Return a non-blocking listening socket."""
    listener = socket.socket(family, socket.SOCK_STREAM)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind(address)
        listener.listen(BACKLOG)
        listener.setblocking(False)
    except BaseException:
        listener.close()
        raise
    return listener
