"""Shared by the feed's tests: a daemon that takes commands, and a viewer that sends them."""

import asyncio
import json
import socket
from collections.abc import Awaitable, Callable
from typing import ClassVar

from onboard.contract.codec import json_line as as_line
from onboard.contract.commands import Command, Mark, Reply
from onboard.contract.refusals import Refusal, RefusalCode
from onboard.feed.server import FeedServer, OnCommand
from tests.patience import PATIENCE_S

LINE = as_line({"kind": "snapshot", "fill": "x" * 2000})


async def opened() -> tuple[FeedServer, int]:
    server = FeedServer()
    return server, await server.open("127.0.0.1", 0, "skiff")


SILENT: list[socket.socket] = []


class Daemon:
    """Takes commands like a daemon: executes them at once, or leaves them unanswered."""

    def __init__(self, *, waits: bool = False) -> None:
        self.commands: list[Command] = []
        self.waiting: list[Reply] = []
        self.waits = waits

    def __call__(self, command: Command, reply: Reply) -> None:
        self.commands.append(command)
        if self.waits:
            self.waiting.append(reply)
        elif isinstance(command, Mark) and command.text == "no":
            reply(Refusal(RefusalCode.FAULT), None)
        else:
            reply(None, None)


class Talker:
    """A viewer that sends commands and reads acknowledgements."""

    all: ClassVar[list["Talker"]] = []

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.reader, self.writer = reader, writer

    @classmethod
    async def to(cls, port: int) -> "Talker":
        talker = cls(*await asyncio.open_connection("127.0.0.1", port))
        cls.all.append(talker)
        assert json.loads(await talker.reader.readline())["kind"] == "hello"
        return talker

    def send(self, *lines: bytes) -> None:
        self.writer.write(b"".join(line + b"\n" for line in lines))

    async def ack(self) -> dict:
        async with asyncio.timeout(PATIENCE_S):
            while True:
                message = json.loads(await self.reader.readline())
                if message["kind"] == "ack":
                    return message

    async def is_put_out(self) -> bool:
        async with asyncio.timeout(PATIENCE_S):
            try:
                while await self.reader.read(65536):
                    pass
            except ConnectionError:
                pass
            return True


def note(number: int, text: str = "x") -> bytes:
    command = {"kind": "mark", "id": number, "mark": "note", "text": text}
    return json.dumps(command, ensure_ascii=False).encode()


def play(scene: Callable[[], Awaitable[None]]) -> None:
    async def all_of_it() -> None:
        try:
            async with asyncio.timeout(PATIENCE_S):
                await scene()
        finally:
            for talker in Talker.all:
                talker.writer.close()
            Talker.all.clear()
            while SILENT:
                SILENT.pop().close()
            await asyncio.sleep(0)

    asyncio.run(all_of_it())


async def served(on_command: OnCommand | None, **more) -> tuple[FeedServer, int]:
    server = FeedServer(**more)
    return server, await server.open("127.0.0.1", 0, "skiff", on_command)


def silent_viewer(port: int) -> socket.socket:
    """Connect a viewer with a small buffer that reads nothing by itself."""
    silent = socket.socket()
    silent.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    silent.connect(("127.0.0.1", port))
    silent.setblocking(False)
    SILENT.append(silent)
    return silent
