"""Discovery on real sockets: this machine first, then announced daemons."""

import asyncio
import builtins
import functools
import socket
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import pytest
from zeroconf import ServiceInfo
from zeroconf.asyncio import AsyncZeroconf

import groundside.connection.discovery
from groundside.connection.crafts import Craft
from groundside.connection.discovery import FeedAddress, find_feed
from groundside.connection.source import NotFoundYet, Update
from onboard.contract.codec import as_line
from onboard.contract.messages import Hello
from onboard.crew.announce import Announcing
from onboard.crew.keys import own_fingerprint
from tests.free_port import free_port
from tests.onboard.crew.doors import open_door, paired_folder
from tests.own_service import use_own_service


@pytest.fixture(autouse=True)
def own_service(monkeypatch: pytest.MonkeyPatch) -> str:
    return use_own_service(monkeypatch)


LONGER_AND_LONGER_S = (2.0, 8.0, 32.0)
"""Successive times to listen [s]; a busy machine needs the later ones."""


async def announced(names: list[str], port: int) -> Any:
    """Find a feed while daemons announce themselves on this machine's own network."""
    announcing = AsyncZeroconf()
    try:
        for place, name in enumerate(names):
            info = ServiceInfo(
                groundside.connection.discovery.SERVICE,
                f"{name}.{groundside.connection.discovery.SERVICE}",
                addresses=[socket.inet_aton("192.0.2.7")],
                port=4000 + place,
                server=f"{name}.local.",
            )
            await (await announcing.async_register_service(info, allow_name_change=False))
        for listen_s in LONGER_AND_LONGER_S:
            found = await find_feed(port, listen_s=listen_s)
            if all(any(name in line for line in found.notes) for name in names):
                break
        return found
    finally:
        await announcing.async_close()


def test_this_machine_is_tried_first() -> None:
    async def find() -> Any:
        def greet(_reader: Any, writer: Any, line: bytes) -> None:
            writer.write(line)
            writer.close()

        found = []
        for line in (as_line(Hello("skiff", 5.0)), b"HTTP/1.1 400 Bad\r\n", b'{"kind": "x"}\n'):
            server = await asyncio.start_server(functools.partial(greet, line=line), "127.0.0.1", 0)
            async with server:
                found.append(await find_feed(server.sockets[0].getsockname()[1], listen_s=0.0))
        return found

    found, *others = asyncio.run(find())
    assert (found.host, found.notes) == ("127.0.0.1", ())
    assert all(other.notes for other in others)  # no feed there: the search continues


@pytest.mark.slow
def test_unpaired_daemons_are_listed_but_not_used() -> None:
    try:
        found = asyncio.run(announced(["board", "skiff"], free_port()))
    except OSError as problem:
        pytest.skip(f"no multicast here: {problem}")
    assert found.host is None
    assert [line.split(" is not paired")[0] for line in found.notes] == [
        "board at 192.0.2.7:4000",
        "skiff at 192.0.2.7:4001",
    ]
    assert all("wattwake-onboard pair" in line for line in found.notes)


@pytest.mark.slow
def test_if_nothing_answers_it_reports_what_was_tried_and_waits_on_loopback() -> None:
    port = free_port()
    found = asyncio.run(find_feed(port, listen_s=0.3))
    assert (found.host, found.port) == ("127.0.0.1", port)
    assert f"nothing answers at 127.0.0.1:{port}, and " in found.notes[0]
    assert "0.3 s" in found.notes[0] or "could not be searched" in found.notes[0]
    assert "watch HOST[:PORT]" in found.notes[1]
    assert found.not_found


def craft_of(folder: Path, port: int, host: str = "127.0.0.1", name: str = "skiff") -> Craft:
    return Craft(name, own_fingerprint(folder).hex(), "t", "crew", (host,), port)


def test_a_paired_craft_is_found_at_its_last_address(tmp_path: Path) -> None:
    folder, other = paired_folder(tmp_path), paired_folder(tmp_path / "other")

    async def find() -> list[FeedAddress]:
        async with open_door(folder) as there:
            skiff = craft_of(folder, there.port)
            stranger = craft_of(other, there.port, name="stranger")
            gone = craft_of(other, free_port(), name="gone")
            first = await find_feed(free_port(), crafts=(gone, stranger, skiff))
            return [first, await find_feed(free_port(), listen_s=0.1, crafts=(stranger,))]

    found, not_found = asyncio.run(find())
    assert found.craft is not None and found.craft.name == "skiff"
    assert found.notes[0].startswith("found skiff at 127.0.0.1:")
    assert not_found.craft is None  # the peer there has another key


def find_announced(craft_folder: Path, door_folder: Path) -> FeedAddress:
    """Find a craft that moved, while a door announces the id of its key."""

    async def find() -> FeedAddress:
        async with open_door(door_folder) as there:
            announcing = Announcing(craft_folder, "127.0.0.1", there.port)
            await asyncio.to_thread(announcing.announce)
            try:
                skiff = craft_of(craft_folder, there.port, "127.0.0.99")
                for listen_s in LONGER_AND_LONGER_S if craft_folder == door_folder else (2.0,):
                    found = await find_feed(free_port(), listen_s=listen_s, crafts=(skiff,))
                    if found.craft is not None:
                        break
                return found
            finally:
                await asyncio.to_thread(announcing.withdraw)

    try:
        return asyncio.run(find())
    except OSError as problem:
        pytest.skip(f"no multicast here: {problem}")


@pytest.mark.slow
def test_a_moved_craft_is_found_by_its_announcement(tmp_path: Path) -> None:
    folder = paired_folder(tmp_path)
    found = find_announced(folder, folder)
    assert found.craft is not None
    assert found.craft.hosts == ("127.0.0.1", "127.0.0.99")


@pytest.mark.slow
def test_an_announcement_without_the_key_is_not_accepted(tmp_path: Path) -> None:
    folder, other = paired_folder(tmp_path), paired_folder(tmp_path / "other")
    assert find_announced(folder, other).craft is None


def test_a_failed_search_is_shown_until_the_first_snapshot() -> None:
    class Source:
        name, controls, seek_controls, command_sender = "x", None, None, None

        async def stream(self) -> AsyncIterator[Update]:
            yield Update(None, "no feed at x")
            yield Update({"seq": 1}, None)
            yield Update(None, "feed at x ended")

    async def problems() -> list[str | None]:
        return [one.problem async for one in NotFoundYet(Source(), "nothing found").stream()]

    assert asyncio.run(problems()) == ["nothing found", None, "feed at x ended"]


def test_a_missing_library_is_named_with_how_to_install_it(monkeypatch: pytest.MonkeyPatch) -> None:
    real = builtins.__import__

    def without(name: str, *rest: Any, **more: Any) -> Any:
        if name.startswith("zeroconf"):
            raise ImportError(name)
        return real(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", without)
    port = free_port()
    found = asyncio.run(find_feed(port))
    assert (found.host, found.port) == ("127.0.0.1", port)
    assert "pip install 'wattwake[find]'" in found.notes[0]
