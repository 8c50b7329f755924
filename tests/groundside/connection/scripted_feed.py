"""A loopback feed scripted by a test, and the client's updates from it."""

import asyncio
import json
from collections.abc import Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import replace
from typing import Any

from groundside.connection.feed_client import FeedClient
from groundside.connection.source import Update
from onboard.contract.figure import Unknown
from onboard.contract.messages import Hello
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import unknown_snapshot
from tests.wire import wire

Serve = Callable[[asyncio.StreamReader, asyncio.StreamWriter], Awaitable[None]]

HELLO = wire(Hello("skiff", 5.0))


def lines_of(*messages: Any) -> bytes:
    return b"".join(json.dumps(message).encode() + b"\n" for message in messages)


def snapshot(seq: int) -> dict[str, Any]:
    nothing = unknown_snapshot(Unknown(Reason.NO_AUTOPILOT), "a test")
    return wire(replace(nothing, seq=seq, t_s=seq * 0.2))


class Waits:
    """Replaces sleeping: records requested waits, and lets other tasks run."""

    def __init__(self) -> None:
        self.asked_s: list[float] = []

    async def __call__(self, wait_s: float) -> None:
        self.asked_s.append(wait_s)
        await asyncio.sleep(0.001)


@asynccontextmanager
async def serving(serve: Serve, port: int = 0):  # type: ignore[no-untyped-def]
    async def until_done(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            await serve(reader, writer)
            await writer.drain()
        except (ConnectionError, asyncio.CancelledError):
            pass
        finally:
            writer.close()

    server = await asyncio.start_server(until_done, "127.0.0.1", port)
    try:
        yield server.sockets[0].getsockname()[1]
    finally:
        server.close()
        await server.wait_closed()


def sends(*pieces: bytes, stay: asyncio.Event | None = None) -> Serve:
    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        for piece in pieces:
            writer.write(piece)
            await writer.drain()
            await asyncio.sleep(0.002)
        if stay is not None:
            await stay.wait()

    return serve


async def until(client: FeedClient, wanted: Callable[[Update], bool]) -> list[Update]:
    """Return the updates up to the wanted one."""
    seen: list[Update] = []
    stream = client.stream()
    try:
        async for update in stream:
            seen.append(update)
            if wanted(update):
                return seen
        raise AssertionError("the stream ended")
    finally:
        await stream.aclose()  # type: ignore[attr-defined]


def is_seq(seq: int) -> Callable[[Update], bool]:
    return lambda update: update.snapshot is not None and update.snapshot.seq == seq
