"""The encrypted door, with real TLS on this machine: who comes in, and what the others get."""

import asyncio
import contextlib
import json
import logging
import shutil
import socket
import ssl
import warnings
from pathlib import Path

import pytest

from onboard.feed.server import FeedServer
from onboard.feed.snapshot import as_line
from onboard.feed.viewer import STANDSTILL_S
from onboard.pairing import door as door_module
from onboard.pairing.crew import CrewBook
from onboard.pairing.door import EACH_MOST, CrewDoor, DoorSettings
from onboard.pairing.joining import Join
from onboard.pairing.keys import make_identity
from onboard.pairing.limits import WAITING_MOST_EACH
from onboard.quiet_log import QuietFilter
from tests.onboard.pairing.doors import (
    Open,
    Viewer,
    client_context,
    member,
    open_door,
    paired_folder,
)

SECRET = as_line({"kind": "snapshot", "seq": 1, "secret": "where it is"})
SET = {"kind": "set", "id": 1, "key": "target_speed_mps", "value": 2.5}


def play(scene, *more) -> None:
    async def bounded() -> None:
        async with asyncio.timeout(30):
            await scene(*more)

    asyncio.run(bounded())


@pytest.fixture(autouse=True)
def looks_often(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(door_module, "LOOK_S", 0.02)


def test_a_code_lets_in_gives_a_token_and_that_lets_in_again(tmp_path: Path) -> None:
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
            assert await replayed.rest() == b'{"kind":"refused"}\n'
            first.leave()
            again.leave()

    play(scene)


@pytest.mark.slow
def test_all_who_may_be_in_come_back_at_once_from_one_address(tmp_path: Path) -> None:
    folder = paired_folder(tmp_path)
    tokens = [member(folder, f"phone {n}") for n in range(4)]

    async def scene() -> None:
        async with open_door(folder) as there:
            coming = (Viewer.joined(there.port, token) for token in tokens * EACH_MOST)
            viewers = await asyncio.gather(*coming)
            assert len(viewers) == there.feed.viewers == 32

    play(scene)


@pytest.mark.slow
def test_those_held_for_others_of_their_address_are_let_go_in_the_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = paired_folder(tmp_path)
    token = member(folder, "phone")
    monkeypatch.setattr(door_module, "HELD_S", 0.3)
    monkeypatch.setattr(door_module, "HELD_MOST", 4)

    async def scene() -> None:
        async with open_door(folder) as there:
            silent = [await asyncio.open_connection("127.0.0.1", there.port) for _ in range(16)]
            async with asyncio.timeout(2):
                for reader, _ in silent[WAITING_MOST_EACH:]:
                    with contextlib.suppress(OSError):
                        assert await reader.read(1) == b""
            other = await Viewer.joined(there.port, token, source="127.0.0.2")
            other.leave()
            for _, writer in silent:
                writer.transport.abort()

    play(scene)


def test_each_who_joins_is_said_in_the_log(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
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


def test_nothing_is_said_before_one_says_who_one_is(tmp_path: Path) -> None:
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


def test_wrong_ones_get_no_detail(tmp_path: Path) -> None:
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
                assert await viewer.rest() in (b'{"kind":"refused"}\n', b"")
                viewer.leave()
            assert there.heard == []

    play(scene)


def test_crew_speaks_and_a_viewer_looks_on(tmp_path: Path) -> None:
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
            assert (answer["ok"], "--role crew" in answer["why"]) == (False, True)
            assert len(there.heard) == 1
            there.feed.publish(SECRET, 0.0)
            assert (await looks.line())["secret"]
            speaks.leave()
            looks.leave()

    play(scene)


def test_who_is_revoked_is_put_out_and_the_others_stay(tmp_path: Path) -> None:
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


def test_a_damaged_crew_file_lets_nobody_new_in_and_keeps_who_is_there(tmp_path: Path) -> None:
    folder = paired_folder(tmp_path)
    phone, tablet = member(folder, "phone"), member(folder, "tablet")

    async def scene() -> None:
        async with open_door(folder) as there:
            stays = await Viewer.joined(there.port, phone)
            CrewBook(folder).path.write_text("{")
            await asyncio.sleep(0.1)
            late = await Viewer.to(there.port, Join(tablet).as_line())
            assert await late.rest() == b'{"kind":"refused"}\n'
            there.feed.publish(SECRET, 0.0)
            assert (await stays.line())["secret"]
            stays.leave()

    play(scene)


def test_the_door_opens_without_a_restart_and_shuts_with_the_pairing(tmp_path: Path) -> None:
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


def test_there_is_a_most_of_all_and_of_each(tmp_path: Path) -> None:
    folder = paired_folder(tmp_path)
    tokens = [member(folder, f"v{n}") for n in range(3)]

    async def scene() -> None:
        async with open_door(folder, viewers_most=EACH_MOST + 1) as there:
            inside = [await Viewer.joined(there.port, tokens[0]) for _ in range(EACH_MOST)]
            one_more = await Viewer.to(there.port, Join(tokens[0]).as_line(), "127.0.0.2")
            assert "8 screens" in (await one_more.line())["why"]
            inside.append(await Viewer.joined(there.port, tokens[1], "127.0.0.3"))
            full = await Viewer.to(there.port, Join(tokens[2]).as_line(), "127.0.0.4")
            assert "9 viewers" in (await full.line())["why"]
            inside.pop().leave()
            while there.feed.viewers > EACH_MOST:
                await asyncio.sleep(0.01)
            inside.append(await Viewer.joined(there.port, tokens[2], "127.0.0.5"))
            for viewer in inside:
                viewer.leave()

    play(scene)


def test_a_slow_viewer_is_left_out_then_put_out_and_sees_nothing_old(tmp_path: Path) -> None:
    folder = paired_folder(tmp_path)
    line = as_line({"kind": "snapshot", "fill": "x" * 2000})

    async def scene() -> None:
        async with open_door(folder) as there:
            slow = socket.socket()
            slow.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
            slow.connect(("127.0.0.1", there.port))
            slow.settimeout(5)
            secure = await asyncio.to_thread(client_context().wrap_socket, slow)
            secure.sendall(Join(member(folder)).as_line())
            while not there.feed.viewers:
                await asyncio.sleep(0.01)
            (held,) = there.feed._viewers.values()
            for n in range(400):
                there.feed.publish(line, 0.01 * n)
                if n % 20 == 0:
                    await asyncio.sleep(0)
            assert 0 < held.unsent_bytes() < 2 * len(line)
            there.feed.publish(line, 4.0 + STANDSTILL_S)
            assert there.feed.viewers == 0
            secure.close()

    play(scene)


async def silently(there: Open, said: bytes, source: str) -> bytes:
    """Say something unencrypted to the door."""
    reader, writer = await asyncio.open_connection("127.0.0.1", there.port, local_addr=(source, 0))
    writer.write(said)
    got = b""
    with contextlib.suppress(OSError):
        got = await reader.read()
    writer.close()
    return got


def test_old_encryption_and_none_are_refused(tmp_path: Path) -> None:
    folder = paired_folder(tmp_path)
    token = member(folder)

    async def scene() -> None:
        async with open_door(folder) as there:
            there.feed.publish(SECRET, 0.0)
            with warnings.catch_warnings():
                warnings.simplefilter("ignore", DeprecationWarning)
                old = client_context(ssl.TLSVersion.TLSv1, ssl.TLSVersion.TLSv1_1)
            old.set_ciphers("ALL:@SECLEVEL=0")
            with pytest.raises(OSError):
                await asyncio.open_connection("127.0.0.1", there.port, ssl=old, server_hostname="")
            assert b"snapshot" not in await silently(there, Join(token).as_line(), "127.0.0.2")
            for version in (ssl.TLSVersion.TLSv1_2, ssl.TLSVersion.TLSv1_3):
                reader, writer = await asyncio.open_connection(
                    "127.0.0.1",
                    there.port,
                    ssl=client_context(version, version),
                    server_hostname="",
                )
                writer.write(Join(token).as_line())
                assert b"hello" in await reader.readline()
                writer.transport.abort()

    play(scene)


@pytest.mark.slow
def test_who_does_not_get_to_the_point_is_put_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(door_module, "KNOWN_WITHIN_S", 0.5)
    folder = paired_folder(tmp_path)

    async def scene() -> None:
        async with open_door(folder) as there:
            half_open = asyncio.create_task(silently(there, b"\x16\x03\x01", "127.0.0.2"))
            slow = await Viewer.to(there.port, source="127.0.0.3")
            for byte in Join("x" * 43).as_line()[:7]:
                slow.writer.write(bytes([byte]))
                await asyncio.sleep(0.1)
            assert b"snapshot" not in await slow.rest()
            assert await half_open == b""
            assert there.door._limits.waiting == 0
            slow.leave()

    play(scene)


def test_a_flood_of_one_address_leaves_the_others_be(tmp_path: Path) -> None:
    folder = paired_folder(tmp_path)
    token = member(folder)

    async def scene() -> None:
        async with open_door(folder) as there:
            flood = []
            for _ in range(100):
                one = socket.socket()
                one.setblocking(False)
                one.bind(("127.0.0.9", 0))
                with contextlib.suppress(BlockingIOError):
                    one.connect(("127.0.0.1", there.port))
                flood.append(one)
            good = await Viewer.joined(there.port, token)
            there.feed.publish(SECRET, 0.0)
            assert (await good.line())["secret"]
            assert there.door._limits.waiting <= 8
            for one in flood:
                one.close()
            good.leave()

    play(scene)


def test_a_fault_of_ours_lets_nobody_in_and_the_next_one_finds_the_door_open(
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
                assert await viewer.rest() == b'{"kind":"refused"}\n'
            (await Viewer.joined(there.port, token)).leave()

    play(scene)
    assert "ZeroDivisionError" in caplog.text


def test_the_shut_door_leaves_nothing_open(tmp_path: Path) -> None:
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
def test_an_address_that_cannot_be_had_is_said_once_and_ends_nothing(
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
