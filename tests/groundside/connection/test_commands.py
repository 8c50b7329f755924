"""Commands of a viewer to the daemon over the feed, and their results."""

import asyncio
import contextlib
from collections.abc import Callable
from contextlib import asynccontextmanager
from typing import Any

import pytest

from groundside.connection.commands import CommandResult, mark, setting
from groundside.connection.feed_client import FeedClient
from groundside.words.units import DEFAULT
from onboard.contract.commands import Command, Mark, Reply
from onboard.contract.refusals import Refusal, RefusalCode
from onboard.feed.server import FeedServer
from tests.groundside.connection.scripted_feed import HELLO, Waits, lines_of, serving, snapshot
from tests.play import play

NOTE = mark("note", "weed 🌿")


@asynccontextmanager
async def following(client: FeedClient):  # type: ignore[no-untyped-def]
    """Run the client's stream in the background."""
    arrived = asyncio.Event()

    async def follow() -> None:
        async for update in client.stream():
            if update.snapshot is not None:
                arrived.set()

    running = asyncio.create_task(follow())
    try:
        await arrived.wait()
        yield
    finally:
        running.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await running


@asynccontextmanager
async def daemon(on_command: Callable[[Command, Reply], None]):  # type: ignore[no-untyped-def]
    server = FeedServer()
    port = await server.open("127.0.0.1", 0, "skiff", on_command)
    server.publish(lines_of(snapshot(1)), 0.0)
    try:
        yield port
    finally:
        await server.close()


def test_each_command_gets_its_own_acknowledgement() -> None:
    async def main() -> None:
        received: list[Command] = []

        def execute(command: Command, reply: Reply) -> None:
            received.append(command)
            reply(Refusal(RefusalCode.FAULT) if isinstance(command, Mark) else None, None)

        async with daemon(execute) as port:
            client, other = FeedClient("127.0.0.1", port), FeedClient("127.0.0.1", port)
            async with following(client), following(other):
                refused, done, wrong = await asyncio.gather(
                    client.send(NOTE),
                    client.send(setting("target_speed_mps", 2)),
                    client.send(setting("target_speed_mps", -2)),
                )
                # Its first number is also that of the other viewer's first command.
                assert (await other.send(NOTE)).ok is False
        assert received[0] == Mark(1, "note", "weed 🌿")
        assert (refused.ok, refused.why) == (False, Refusal(RefusalCode.FAULT))
        assert (done.ok, done.why) == (True, None)
        assert done.command is not None
        assert done.command.value == 2.0
        assert wrong.ok is False
        refusal = "value = -2: expected a number from 0.1 to 50, or null to clear it"
        assert wrong.why_text(DEFAULT) == refusal
        assert client.malformed_lines == 0

    play(main)


def test_without_a_connection_nothing_is_sent() -> None:
    async def main() -> None:
        client = FeedClient("192.0.2.7", 4000)
        assert await client.send(NOTE) == CommandResult(
            False, "no feed at 192.0.2.7:4000: nothing was said"
        )

    play(main)


def test_a_timeout_leaves_the_result_unknown() -> None:
    async def main() -> None:
        async with daemon(lambda command, reply: None) as port:
            client = FeedClient("127.0.0.1", port)
            async with following(client):
                ack = await client.send(NOTE, timeout_s=0.02)
                assert ack.ok is None
                assert ack.why is not None
                assert ack.why.startswith(f"no answer from feed at 127.0.0.1:{port} within 0.02 s")

    play(main)


def test_a_lost_connection_leaves_the_result_unknown() -> None:
    async def main() -> None:
        async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            writer.write(lines_of(HELLO, snapshot(1)))
            await reader.readline()

        async with serving(serve) as port:
            client = FeedClient("127.0.0.1", port, sleep=Waits())
            async with following(client):
                ack = await client.send(NOTE)
                again = await client.send(NOTE)
        assert ack.ok is None
        assert ack.why is not None
        assert ack.why.startswith(
            f"feed at 127.0.0.1:{port} disconnected before it answered: it may"
        )
        assert again == CommandResult(False, f"no feed at 127.0.0.1:{port}: nothing was said")

    play(main)


@pytest.mark.parametrize(
    "answer",
    [
        {"schema": 2, "kind": "ack", "id": 2, "ok": True},
        {"schema": 2, "kind": "ack", "id": None, "ok": True},
        {"schema": 2, "kind": "ack", "id": True, "ok": True},
        {"schema": 2, "kind": "ack", "id": [1], "ok": True},
        {"schema": 2, "kind": "ack", "id": 1, "ok": True, "by": False},
        {"schema": 2, "kind": "event", "id": 1, "ok": True},
    ],
)
def test_acknowledgements_of_other_commands_are_ignored(answer: dict[str, Any]) -> None:
    async def main() -> None:
        async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            writer.write(lines_of(HELLO, snapshot(1)))
            await reader.readline()
            writer.write(
                lines_of(
                    answer,
                    {
                        "schema": 2,
                        "kind": "ack",
                        "id": 1,
                        "ok": False,
                        "by": True,
                        "why": {"code": "fault"},
                    },
                )
            )
            await reader.readline()

        async with serving(serve) as port:
            client = FeedClient("127.0.0.1", port)
            async with following(client):
                assert await client.send(NOTE) == CommandResult(False, Refusal(RefusalCode.FAULT))

    play(main)


@pytest.mark.parametrize(
    ("command", "why"),
    [
        (setting("target_speed_mps", float("nan")), "JSON cannot express it"),
        (setting("target_speed_mps", object()), "JSON cannot express it"),
        (mark("note", "\ud800"), "JSON cannot express it"),
        (mark("note", "x" * 2600), "too long: a command takes at most 2560 bytes"),
    ],
)
def test_what_cannot_be_encoded_is_refused_at_once(command: Command, why: str) -> None:
    async def main() -> None:
        async with daemon(lambda command, reply: reply(None, None)) as port:
            client = FeedClient("127.0.0.1", port)
            async with following(client):
                ack = await client.send(command)
        assert ack.ok is False
        assert ack.why is not None
        assert why in ack.why

    play(main)
