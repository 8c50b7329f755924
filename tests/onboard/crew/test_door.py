"""The encrypted door with real TLS on this machine: who is admitted, and what others get."""

import asyncio
import json
import logging
import shutil
import socket
from pathlib import Path

import pytest

from onboard.crew import door as door_module
from onboard.crew.door import CrewDoor, DoorSettings
from onboard.crew.joining import REFUSED, Join
from onboard.crew.keys import make_identity
from onboard.crew.members import CrewBook
from onboard.daemon.quiet_log import QuietFilter
from onboard.feed.server import FeedServer
from tests.onboard.crew.doors import (
    SECRET,
    SET,
    Viewer,
    member,
    open_door,
    paired_folder,
    play,
)


@pytest.fixture(autouse=True)
def short_poll(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(door_module, "POLL_S", 0.02)


def test_a_code_gives_a_token_and_the_token_admits(tmp_path: Path) -> None:
    folder = paired_folder(tmp_path)

    async def scene() -> None:
        async with open_door(folder) as there:
            there.feed.publish(SECRET, 0.0)
            code = CrewBook(folder).invite("crew", "phone")
            first = await Viewer.pairs(there.port, code)
            paired, hello, newest = [await first.line() for _ in range(3)]
            assert (paired["kind"], paired["name"], paired["craft"]) == ("paired", "phone", "skiff")
            assert (hello["kind"], newest["kind"]) == ("hello", "snapshot")
            again = await Viewer.joined(there.port, paired["token"])
            assert (await again.line())["secret"] == "where it is"
            replayed = await Viewer.pairs(there.port, code)
            assert await replayed.rest() == REFUSED
            first.leave()
            again.leave()

    play(scene)


def test_each_new_member_is_logged(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    folder = paired_folder(tmp_path)
    caplog.set_level(logging.INFO, "wattwake")
    quiet = QuietFilter()

    async def scene() -> None:
        async with open_door(folder) as there:
            for name, role in (("phone", "crew"), ("stranger", "viewer")):
                one = await Viewer.pairs(there.port, CrewBook(folder).invite(role, name))
                assert (await one.line())["name"] == name
                one.leave()

    play(scene)
    passed = [record.getMessage() for record in caplog.records if quiet.filter(record)]
    said = [text for text in passed if "joined" in text]
    assert said == ["phone joined as crew", "stranger joined as viewer"]


def test_nothing_is_sent_before_authentication(tmp_path: Path) -> None:
    folder = paired_folder(tmp_path)

    async def scene() -> None:
        async with open_door(folder) as there:
            there.feed.publish(SECRET, 0.0)
            silent = await Viewer.to(there.port)
            with pytest.raises(TimeoutError):
                async with asyncio.timeout(0.3):
                    await silent.reader.read(1)
            there.feed.publish(SECRET, 0.2)
            with pytest.raises(TimeoutError):
                async with asyncio.timeout(0.1):
                    await silent.reader.read(1)
            assert there.feed.viewers == 0
            silent.leave()

    play(scene)


def test_refused_connections_get_no_reason(tmp_path: Path) -> None:
    folder = paired_folder(tmp_path)
    revoked = member(folder, "phone")
    CrewBook(folder).revoke("phone")

    async def scene() -> None:
        async with open_door(folder) as there:
            there.feed.publish(SECRET, 0.0)
            for said in (
                Join(revoked).as_line(),
                Join("a" * 43).as_line(),
                b"nonsense\n",
                b'{"kind":"set","id":1,"key":"target_speed_mps","value":2}\n',
                b"x" * 5000,
                b"x" * 600 + b"\n",
            ):
                viewer = await Viewer.to(there.port, said)
                assert await viewer.rest() in (REFUSED, b"")
                viewer.leave()
            assert there.commands == []

    play(scene)


def test_crew_may_command_and_a_viewer_may_not(tmp_path: Path) -> None:
    folder = paired_folder(tmp_path)
    crew, looker = member(folder, "phone", "crew"), member(folder, "guest", "viewer")

    async def scene() -> None:
        async with open_door(folder) as there:
            speaks = await Viewer.joined(there.port, crew)
            looks = await Viewer.joined(there.port, looker)
            speaks.writer.write(json.dumps(SET).encode() + b"\n")
            assert (await speaks.ack())["ok"] is True
            assert (await looks.ack())["by"] is False
            looks.writer.write(json.dumps(SET).encode() + b"\n")
            answer = await looks.ack()
            assert (answer["ok"], answer["why"]["code"] == "looks_on") == (False, True)
            assert len(there.commands) == 1
            there.feed.publish(SECRET, 0.0)
            assert (await looks.line())["secret"]
            speaks.leave()
            looks.leave()

    play(scene)


def test_a_revoked_viewer_is_disconnected_and_others_stay(tmp_path: Path) -> None:
    folder = paired_folder(tmp_path)
    phone, tablet = member(folder, "phone"), member(folder, "tablet")

    async def scene() -> None:
        async with open_door(folder) as there:
            out, stays = [await Viewer.joined(there.port, token) for token in (phone, tablet)]
            CrewBook(folder).revoke("phone")
            assert b"secret" not in await out.rest()
            there.feed.publish(SECRET, 0.0)
            assert (await stays.line())["secret"]
            assert there.feed.viewers == 1
            stays.leave()

    play(scene)


def test_a_damaged_crew_file_admits_nobody_and_keeps_who_is_connected(tmp_path: Path) -> None:
    folder = paired_folder(tmp_path)
    phone, tablet = member(folder, "phone"), member(folder, "tablet")

    async def scene() -> None:
        async with open_door(folder) as there:
            stays = await Viewer.joined(there.port, phone)
            CrewBook(folder).path.write_text("{")
            await asyncio.sleep(0.1)
            late = await Viewer.to(there.port, Join(tablet).as_line())
            assert await late.rest() == REFUSED
            there.feed.publish(SECRET, 0.0)
            assert (await stays.line())["secret"]
            stays.leave()

    play(scene)


def test_the_door_opens_without_a_restart_and_closes_with_the_pairing(tmp_path: Path) -> None:
    folder = tmp_path / "rec" / "pairing"

    async def scene() -> None:
        async with asyncio.TaskGroup() as group:

            async def later() -> None:
                await asyncio.sleep(0.1)
                make_identity(folder)

            group.create_task(later())
            async with open_door(folder) as there:
                viewer = await Viewer.joined(there.port, member(folder))
                shutil.rmtree(folder)
                assert await viewer.rest() == b""
                await asyncio.sleep(0.1)
                with pytest.raises(OSError):
                    await Viewer.to(there.port)

    play(scene)


def test_an_internal_fault_admits_nobody_and_the_door_stays_open(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    folder = paired_folder(tmp_path)
    token = member(folder)

    async def scene() -> None:
        async with open_door(folder) as there:
            there.feed.publish(SECRET, 0.0)
            with monkeypatch.context() as broken:
                broken.setattr(door_module, "parse_first", lambda _: 1 / 0)
                viewer = await Viewer.to(there.port, Join(token).as_line())
                assert await viewer.rest() == REFUSED
            (await Viewer.joined(there.port, token)).leave()

    play(scene)
    assert "ZeroDivisionError" in caplog.text


def test_a_shut_door_leaves_nothing_open(tmp_path: Path) -> None:
    folder = paired_folder(tmp_path)

    async def scene() -> None:
        async with open_door(folder) as there:
            waits = await Viewer.to(there.port)
            inside = await Viewer.joined(there.port, member(folder))
            Viewer.all.clear()
        assert await waits.rest() == b""
        await inside.rest()
        for viewer in (waits, inside):
            viewer.leave()

    play(scene)


@pytest.mark.parametrize(
    ("host", "said"), [("127.0.0.1", "already in use"), ("a..b", "cannot be had on a..b")]
)
def test_an_unavailable_address_is_logged_once_and_ends_nothing(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, host: str, said: str
) -> None:
    folder = paired_folder(tmp_path)

    async def scene() -> None:
        with socket.create_server(("127.0.0.1", 0)) as taken:
            settings = DoorSettings(host, taken.getsockname()[1], folder, "skiff")
            door = CrewDoor(settings, FeedServer())
            keeping = asyncio.create_task(door.run())
            await asyncio.sleep(0.15)
            assert not keeping.done()
            keeping.cancel()
            await asyncio.wait({keeping})

    play(scene)
    assert [said in one.message for one in caplog.records] == [True]
