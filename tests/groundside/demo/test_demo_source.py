"""The demo ends when its daemon has received the whole ride, however long that takes."""

import asyncio
import contextlib
from collections.abc import AsyncIterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from groundside.connection.source import Update
from groundside.demo import demo_source
from groundside.demo.demo_source import STUCK_UPDATES, DemoSource
from tests.made_snapshot import made_snapshot

RIDE = Path(__file__).parents[3] / "replay_logs" / "harbour_loop.tlog"


def ends(taken: list[int | None], sent: int) -> list[bool]:
    """Return after each update whether the demo ends; None is an update without a snapshot."""
    source = DemoSource(RIDE, RIDE.with_suffix(".toml"))
    source.sent = sent
    updates = [
        Update(None, "gone") if one is None else Update(made_snapshot(link__messages=one))
        for one in taken
    ]
    return [source.caught_up(update) for update in updates]


def test_a_slow_daemon_is_waited_for() -> None:
    slow = [n // 10 for n in range(1, 1001)]
    assert ends(slow, 100) == [False] * 999 + [True]


def test_lost_frames_are_not_waited_for() -> None:
    assert ends([90] * (STUCK_UPDATES + 1), 100) == [False] * STUCK_UPDATES + [True]


def test_a_dead_daemon_is_not_waited_for() -> None:
    assert ends([90] + [None] * STUCK_UPDATES, 100) == [False] * STUCK_UPDATES + [True]


def test_frames_sent_while_an_update_is_shown_are_waited_for(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    seen = []

    class Sender:
        def __init__(self, *_: object) -> None:
            self.sent, self.rest = 50, asyncio.Event()

        async def run(self) -> None:
            await self.rest.wait()
            self.sent = 100

    class Feed:
        def __init__(self, *_: object) -> None:
            """Open nothing."""

        async def stream(self) -> AsyncIterator[Update]:
            for taken in (50, 50, 100):
                yield Update(made_snapshot(link__messages=taken))

    @contextlib.asynccontextmanager
    async def daemon(*_: object) -> AsyncIterator[Any]:
        yield SimpleNamespace(link_port=1, feed_port=2)

    async def main() -> None:
        sender = Sender()
        monkeypatch.setattr(demo_source, "LogSender", lambda *_: sender)
        monkeypatch.setattr(demo_source, "FeedClient", Feed)
        monkeypatch.setattr(demo_source, "ChildDaemon", daemon)
        async for update in DemoSource(RIDE, RIDE.with_suffix(".toml")).stream():
            assert update.snapshot is not None
            seen.append(update.snapshot.link.messages)
            sender.rest.set()
            while sender.sent < 100:
                await asyncio.sleep(0)
            await asyncio.sleep(0)  # the sender's task ends

    asyncio.run(main())
    assert seen == [50, 50, 100]
