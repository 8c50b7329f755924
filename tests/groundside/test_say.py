"""Saying one thing to a daemon that does it, refuses it, is silent, or is none."""

import asyncio
import contextlib
import io
import json
import socket
from collections.abc import Awaitable, Callable
from typing import Any

import pytest

from groundside.answers import Ack
from groundside.say import mark, print_told, say, setting, told
from onboard.feed.commands import Command, Mark, Reply, Set
from onboard.feed.server import FeedServer
from tests.patience import PATIENCE_S


def run(main: Callable[[], Awaitable[Any]]) -> Any:
    async def bounded() -> Any:
        return await asyncio.wait_for(main(), PATIENCE_S)

    return asyncio.run(bounded())


def said_to(on_command: Callable[[Command, Reply], None], command: dict[str, Any]) -> Ack:
    async def main() -> Ack:
        server = FeedServer()
        port = await server.open("127.0.0.1", 0, "skiff", on_command)
        server.publish(b'{"kind":"snapshot","x":"' + b"x" * 4000 + b'"}\n', 0.0)
        ack = await say("127.0.0.1", port, command)
        while server.viewers:
            await asyncio.sleep(0.001)
        await server.close()
        return ack

    ack = run(main)
    assert isinstance(ack, Ack)
    return ack


def answered(*lines: bytes, command: dict[str, Any] | None = None) -> Ack:
    """Say something to a server that sends fixed lines, one of them only once it was told."""

    async def main() -> Ack:
        async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            with contextlib.suppress(ConnectionError):
                for n, line in enumerate(lines):
                    if n:
                        await reader.readline()
                    writer.write(line)
                await writer.drain()
                await reader.read()
            writer.close()

        server = await asyncio.start_server(serve, "127.0.0.1", 0)
        port = server.sockets[0].getsockname()[1]
        ack = await say("127.0.0.1", port, command or mark("run_end"), timeout_s=0.5)
        server.close()
        await server.wait_closed()
        await asyncio.sleep(0.005)
        return ack

    ack = run(main)
    assert isinstance(ack, Ack)
    return ack


HELLO = json.dumps({"schema": 1, "kind": "hello"}).encode() + b"\n"


def test_done_and_refused() -> None:
    heard: list[Command] = []

    def obeys(command: Command, reply: Reply) -> None:
        heard.append(command)
        if isinstance(command, Set):
            reply(None, Set(1, "home", (45.0, -30.0)))
        else:
            reply("no battery", None)

    done = said_to(obeys, setting("home", "here"))
    assert (done.ok, done.why) == (True, None)
    assert told(setting("home", "here"), done) == "home [45.0, -30.0]: done"
    refused = said_to(obeys, mark("charged_full"))
    assert told(mark("charged_full"), refused) == "charged_full: refused: no battery"
    assert heard == [Set(1, "home", "here"), Mark(1, "charged_full")]


def test_nobody_there() -> None:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    ack = run(lambda: say("127.0.0.1", port, mark("run_start")))
    assert ack == Ack(False, f"no feed at 127.0.0.1:{port}: nothing was said")
    ack = run(lambda: say("a..b", 1, mark("run_start")))
    assert ack == Ack(False, "no feed at a..b:1: nothing was said")


@pytest.mark.parametrize(
    "first", [b"220 hello\n", b"{}\n", b"x" * 200_000, b"", b'{"schema": 1, "kind": "snapshot"}\n']
)
def test_a_service_that_is_no_feed_is_told_nothing(first: bytes) -> None:
    ack = answered(first)
    assert ack.ok is False
    assert ack.why is not None
    assert "is not a feed: nothing was said" in ack.why


def test_another_schema_is_told_nothing() -> None:
    ack = answered(b'{"schema": 2, "kind": "hello"}\n')
    assert ack.ok is False
    assert ack.why is not None
    assert "does not speak schema 1, as this viewer does: nothing was said" in ack.why


@pytest.mark.slow
def test_silence_is_neither_yes_nor_no() -> None:
    ack = answered(HELLO, b'garbage\n\n{"kind":"ack","id":9,"ok":true}\n')
    assert ack.ok is None
    assert ack.why is not None
    assert "no answer" in ack.why


def test_an_answer_without_a_reason_is_still_a_refusal() -> None:
    ack = answered(HELLO, b'{"kind":"ack","id":1}\n')
    assert ack == Ack(False, "the daemon gives no reason")


def test_what_json_cannot_say_is_not_said() -> None:
    ack = run(lambda: say("127.0.0.1", 1, setting("target_speed_mps", float("inf"))))
    assert ack == Ack(False, "this is no command: it is nothing that JSON can say")


@pytest.mark.parametrize(
    ("command", "ack", "line"),
    [
        (setting("target_distance_m", 12000), Ack(True), "target_distance_m 12000: done"),
        (setting("target_power_w", None), Ack(True), "target_power_w cleared: done"),
        (mark("note", "weed"), Ack(True), "note weed: done"),
        (mark("run_end"), Ack(None, "no answer"), "run_end: not known: no answer"),
        (mark("run_end"), Ack(False, "\x1b[2Jno\n"), "run_end: refused: [2Jno"),
    ],
)
def test_how_it_fared_is_a_line(
    command: dict[str, Any], ack: Ack, line: str, capsys: pytest.CaptureFixture[str]
) -> None:
    out = io.StringIO()
    print_told(command, ack, out)
    assert out.getvalue() == line + "\n"
    print_told(command, ack)
    printed = capsys.readouterr()
    assert (printed.out if ack.ok else printed.err) == line + "\n"
