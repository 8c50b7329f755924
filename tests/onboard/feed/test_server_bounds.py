"""Bounds on viewers and unanswered commands."""

import asyncio

import pytest

from onboard.feed import server as server_module
from tests.onboard.feed.talkers import Daemon, Talker, note, play, served
from tests.patience import until_async


def test_viewers_of_this_board_are_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(server_module, "LOCAL_MOST", 2)

    async def scene() -> None:
        server, port = await served(Daemon())
        first, _ = [await Talker.to(port) for _ in range(2)]
        await until_async(lambda: server.viewers == 2)
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        assert await reader.read() == b""
        writer.close()
        assert server.viewers == 2
        first.writer.close()
        await until_async(lambda: server.viewers == 1)
        await Talker.to(port)
        await server.close()

    play(scene)


def test_an_answered_command_no_longer_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(server_module, "UNANSWERED_MOST", 2)

    async def scene() -> None:
        daemon = Daemon()
        server, port = await served(daemon)
        one = await Talker.to(port)
        one.send(*(note(n, "no" if n % 2 else "x") for n in range(10)))
        answers = [await one.ack() for _ in range(10)]
        assert [(one["id"], one["ok"]) for one in answers] == [(n, n % 2 == 0) for n in range(10)]
        assert len(daemon.commands) == 10
        await server.close()

    play(scene)
