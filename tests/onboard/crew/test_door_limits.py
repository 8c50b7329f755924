"""The encrypted door under load, with real TLS: numbers, rates, times and old protocols."""

import asyncio
import contextlib
import socket
import ssl
import warnings
from pathlib import Path

import pytest

from onboard.contract.codec import json_line as as_line
from onboard.crew import door as door_module
from onboard.crew.door import EACH_MOST
from onboard.crew.joining import Join
from onboard.crew.limits import WAITING_MOST_EACH
from onboard.feed.viewer import STANDSTILL_S
from tests.onboard.crew.doors import (
    SECRET,
    Open,
    Viewer,
    client_context,
    member,
    open_door,
    paired_folder,
    play,
)
from tests.patience import PATIENCE_S


@pytest.fixture(autouse=True)
def short_poll(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(door_module, "POLL_S", 0.02)


@pytest.mark.slow
def test_a_full_crew_may_reconnect_at_once_from_one_address(tmp_path: Path) -> None:
    folder = paired_folder(tmp_path)
    tokens = [member(folder, f"phone {n}") for n in range(4)]

    async def scene() -> None:
        async with open_door(folder) as there:
            coming = (Viewer.joined(there.port, token) for token in tokens * EACH_MOST)
            viewers = await asyncio.gather(*coming)
            assert len(viewers) == there.feed.viewers == 32

    play(scene)


@pytest.mark.slow
def test_queued_connections_are_closed_in_the_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = paired_folder(tmp_path)
    token = member(folder, "phone")
    monkeypatch.setattr(door_module, "QUEUED_S", 0.3)
    monkeypatch.setattr(door_module, "QUEUED_MOST", 4)

    async def scene() -> None:
        async with open_door(folder) as there:
            silent = [await asyncio.open_connection("127.0.0.1", there.port) for _ in range(16)]
            async with asyncio.timeout(PATIENCE_S):
                for reader, _ in silent[WAITING_MOST_EACH:]:
                    with contextlib.suppress(OSError):
                        assert await reader.read(1) == b""
            other = await Viewer.joined(there.port, token, source="127.0.0.2")
            other.leave()
            for _, writer in silent:
                writer.transport.abort()

    play(scene)


def test_viewers_are_bounded_in_all_and_per_token(tmp_path: Path) -> None:
    folder = paired_folder(tmp_path)
    tokens = [member(folder, f"v{n}") for n in range(3)]

    async def scene() -> None:
        async with open_door(folder, viewers_most=EACH_MOST + 1) as there:
            inside = [await Viewer.joined(there.port, tokens[0]) for _ in range(EACH_MOST)]
            one_more = await Viewer.to(there.port, Join(tokens[0]).as_line(), "127.0.0.2")
            assert (await one_more.line())["why"]["most"] == 8
            inside.append(await Viewer.joined(there.port, tokens[1], "127.0.0.3"))
            full = await Viewer.to(there.port, Join(tokens[2]).as_line(), "127.0.0.4")
            assert (await full.line())["why"]["most"] == 9
            inside.pop().leave()
            while there.feed.viewers > EACH_MOST:
                await asyncio.sleep(0.01)
            inside.append(await Viewer.joined(there.port, tokens[2], "127.0.0.5"))
            for viewer in inside:
                viewer.leave()

    play(scene)


def test_a_slow_viewer_is_skipped_then_disconnected_and_gets_nothing_old(tmp_path: Path) -> None:
    folder = paired_folder(tmp_path)
    line = as_line({"kind": "snapshot", "fill": "x" * 2000})

    async def scene() -> None:
        async with open_door(folder) as there:
            slow = socket.socket()
            slow.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
            slow.connect(("127.0.0.1", there.port))
            slow.settimeout(PATIENCE_S)
            secure = await asyncio.to_thread(client_context().wrap_socket, slow)
            secure.sendall(Join(member(folder)).as_line())
            while not there.feed.viewers:
                await asyncio.sleep(0.01)
            for n in range(400):
                there.feed.publish(line, 0.01 * n)
                if n % 20 == 0:
                    await asyncio.sleep(0)
            assert 0 < max(there.feed.unsent_bytes) < 2 * len(line)
            there.feed.publish(line, 4.0 + STANDSTILL_S)
            assert there.feed.viewers == 0
            secure.close()

    play(scene)


async def silently(there: Open, data: bytes, source: str) -> bytes:
    """Send data unencrypted to the door; return the answer."""
    reader, writer = await asyncio.open_connection("127.0.0.1", there.port, local_addr=(source, 0))
    writer.write(data)
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
def test_slow_authentication_is_disconnected(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(door_module, "AUTHENTICATE_S", 0.5)
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
            assert there.door.limits.waiting == 0
            slow.leave()

    play(scene)


def test_a_flood_from_one_address_does_not_affect_others(tmp_path: Path) -> None:
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
            assert there.door.limits.waiting <= 8
            for one in flood:
                one.close()
            good.leave()

    play(scene)
