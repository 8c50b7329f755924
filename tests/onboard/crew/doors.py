"""Shared by the tests of the encrypted door: an open door, and viewers."""

import asyncio
import contextlib
import json
import ssl
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Any, ClassVar

from onboard.contract.codec import json_line as as_line
from onboard.contract.commands import Command, Reply
from onboard.crew.door import CrewDoor, DoorSettings
from onboard.crew.joining import Join, Pair
from onboard.crew.keys import make_identity
from onboard.crew.members import CrewBook
from onboard.feed.server import FeedServer
from tests.patience import PATIENCE_S


def paired_folder(tmp_path: Path) -> Path:
    folder = tmp_path / "rec" / "pairing"
    make_identity(folder)
    return folder


def member(folder: Path, name: str = "phone", role: str = "crew") -> str:
    """Add a member; return its token."""
    book = CrewBook(folder)
    made = book.redeem(book.invite(role, name), "x")
    assert made is not None
    return made[1]


def client_context(least=ssl.TLSVersion.TLSv1_2, most=ssl.TLSVersion.TLSv1_3) -> ssl.SSLContext:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    context.minimum_version, context.maximum_version = least, most
    return context


class Open:
    """A feed and its encrypted door in this process."""

    def __init__(self, feed: FeedServer, door: CrewDoor, port: int) -> None:
        self.feed, self.door, self.port = feed, door, port
        self.commands: list[Command] = []

    def take(self, command: Command, reply: Reply) -> None:
        self.commands.append(command)
        reply(None, None)


@contextlib.asynccontextmanager
async def open_door(
    folder: Path, greeting: Callable[[], bytes] = bytes, **more: Any
) -> AsyncIterator[Open]:
    feed = FeedServer()
    ports: list[int] = []
    settings = DoorSettings("127.0.0.1", 0, folder, "skiff", **more)
    there = Open(feed, CrewDoor(settings, feed, ports.append), 0)
    await feed.open("127.0.0.1", 0, "skiff", there.take, greeting)
    keeping = asyncio.create_task(there.door.run())
    try:
        async with asyncio.timeout(PATIENCE_S):
            while not ports:
                await asyncio.sleep(0.005)
                assert not keeping.done(), keeping.exception()
            there.port = ports[0]
            yield there
    finally:
        while Viewer.all:
            Viewer.all.pop().leave()
        keeping.cancel()
        await asyncio.wait({keeping})
        await feed.close()
        await asyncio.sleep(0.01)


class Viewer:
    """A TLS connection to the door; all are closed with the door."""

    all: ClassVar[list["Viewer"]] = []

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.reader, self.writer = reader, writer
        self.all.append(self)

    @classmethod
    async def to(cls, port: int, said: bytes = b"", source: str = "127.0.0.1") -> "Viewer":
        reader, writer = await asyncio.open_connection(
            "127.0.0.1", port, ssl=client_context(), server_hostname="", local_addr=(source, 0)
        )
        writer.write(said)
        return cls(reader, writer)

    @classmethod
    async def joined(cls, port: int, token: str, source: str = "127.0.0.1") -> "Viewer":
        viewer = await cls.to(port, Join(token).as_line(), source)
        assert (await viewer.line())["kind"] == "hello"
        return viewer

    @classmethod
    async def pairs(cls, port: int, code: bytes, name: str = "tablet") -> "Viewer":
        return await cls.to(port, Pair(code, name).as_line())

    async def line(self) -> dict:
        async with asyncio.timeout(PATIENCE_S):
            line = await self.reader.readline()
        return json.loads(line) if line else {"kind": "ended"}

    async def rest(self) -> bytes:
        """Return all data up to the end of the connection."""
        got = b""
        async with asyncio.timeout(PATIENCE_S):
            with contextlib.suppress(OSError):
                while data := await self.reader.read(65536):
                    got += data
        return got

    async def ack(self) -> dict:
        while (message := await self.line())["kind"] != "ack":
            assert message["kind"] != "ended"
        return message

    def leave(self) -> None:
        self.writer.transport.abort()


SECRET = as_line({"kind": "snapshot", "seq": 1, "secret": "where it is"})
SET = {"kind": "set", "id": 1, "key": "target_speed_mps", "value": 2.5}


def play(scene, *more) -> None:
    async def bounded() -> None:
        async with asyncio.timeout(PATIENCE_S):
            await scene(*more)

    asyncio.run(bounded())
