"""The trip line holds where the craft was: those who get snapshots get it, and nobody else."""

import asyncio
import json
from pathlib import Path

import pytest

from onboard.contract.codec import as_line
from onboard.contract.trip_line import TripLine
from onboard.crew import door as door_module
from onboard.crew.joining import REFUSED, Join
from onboard.crew.members import CrewBook
from onboard.errors import FeedError
from onboard.feed.server import FeedServer
from tests.onboard.crew.doors import Viewer, member, open_door, paired_folder, play

WAY = ((45.00001, -30.0), (45.00002, -30.0))
LINE = as_line(TripLine((1.0, 2.0), (0.0, 1.1), (0.0, 0.1), 1.0, WAY))


@pytest.fixture(autouse=True)
def short_poll(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(door_module, "POLL_S", 0.02)


@pytest.mark.parametrize("role", ["crew", "viewer"])
def test_a_member_gets_it_on_joining_and_later(tmp_path: Path, role: str) -> None:
    folder = paired_folder(tmp_path)
    token = member(folder, "phone", role)

    async def scene() -> None:
        async with open_door(folder, lambda: LINE) as there:
            one = await Viewer.joined(there.port, token)
            greeted = await one.line()
            assert (greeted["kind"], greeted["position_deg"]) == (
                "trip_line",
                [list(place) for place in WAY],
            )
            there.feed.publish(LINE, 0.0)
            assert await one.line() == greeted

    play(scene)


def test_no_other_gets_it(tmp_path: Path) -> None:
    folder = paired_folder(tmp_path)
    revoked = member(folder, "phone")
    CrewBook(folder).revoke("phone")

    async def scene() -> None:
        async with open_door(folder, lambda: LINE) as there:
            there.feed.publish(LINE, 0.0)
            for said in (Join(revoked).as_line(), Join("a" * 43).as_line(), b"nonsense\n"):
                stranger = await Viewer.to(there.port, said)
                there.feed.publish(LINE, 0.0)
                assert await stranger.rest() in (REFUSED, b"")
                stranger.leave()

    play(scene)


def test_the_plain_feed_on_this_board_gives_it_too_and_to_no_other_board() -> None:
    async def scene() -> None:
        feed = FeedServer()
        with pytest.raises(FeedError):
            await feed.open("0.0.0.0", 0, "skiff", greeting=lambda: LINE)
        port = await feed.open("127.0.0.1", 0, "skiff", greeting=lambda: LINE)
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        kinds = [json.loads(await reader.readline())["kind"] for _ in range(2)]
        assert kinds == ["hello", "trip_line"]
        writer.transport.abort()
        await feed.close()

    play(scene)
