"""Finding the craft: this machine first, then what announces itself, on real sockets."""

import asyncio
import builtins
import functools
import socket
from collections.abc import AsyncIterator
from typing import Any

import pytest
from zeroconf import ServiceInfo
from zeroconf.asyncio import AsyncZeroconf

from groundside.finding import SERVICE, find_feed
from groundside.source import Lacking, Update


def nobody() -> int:
    """Give a port that nothing listens on."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        return int(taken.getsockname()[1])


async def announced(names: list[str], port: int, look_s: float) -> Any:
    """Find with so many daemons announced on this machine's own network."""
    announcing = AsyncZeroconf()
    try:
        for place, name in enumerate(names):
            info = ServiceInfo(
                SERVICE,
                f"{name}.{SERVICE}",
                addresses=[socket.inet_aton("192.0.2.7")],
                port=4000 + place,
                server=f"{name}.local.",
            )
            await (await announcing.async_register_service(info, allow_name_change=False))
        return await find_feed(port, look_s=look_s)
    finally:
        await announcing.async_close()


def test_this_machine_comes_first() -> None:
    async def find() -> Any:
        def greet(_reader: Any, writer: Any, line: bytes) -> None:
            writer.write(line)
            writer.close()

        found = []
        for line in (b'{"kind": "hello"}\n', b"HTTP/1.1 400 Bad\r\n", b'{"kind": "x"}\n'):
            server = await asyncio.start_server(functools.partial(greet, line=line), "127.0.0.1", 0)
            async with server:
                found.append(await find_feed(server.sockets[0].getsockname()[1], look_s=0.0))
        return found

    found, *others = asyncio.run(find())
    assert (found.host, found.said) == ("127.0.0.1", ())
    assert all(other.said for other in others)  # no feed listens there: the search goes on


@pytest.mark.slow
def test_one_that_nobody_paired_with_is_named_and_not_believed() -> None:
    try:
        found = asyncio.run(announced(["board", "skiff"], nobody(), 2.0))
    except OSError as problem:
        pytest.skip(f"no multicast here: {problem}")
    assert found.host is None
    assert [line.split(" is not paired")[0] for line in found.said] == [
        "board at 192.0.2.7:4000",
        "skiff at 192.0.2.7:4001",
    ]
    assert all("wattwake-onboard pair" in line for line in found.said)


@pytest.mark.slow
def test_where_nothing_answers_it_says_what_it_tried_and_waits_here() -> None:
    port = nobody()
    found = asyncio.run(find_feed(port, look_s=0.3))
    assert (found.host, found.port) == ("127.0.0.1", port)
    assert f"nothing answers at 127.0.0.1:{port}, and " in found.said[0]
    assert "0.3 s" in found.said[0] or "could not be searched" in found.said[0]
    assert "watch HOST[:PORT]" in found.said[1]
    assert found.lacking


def test_a_screen_says_what_was_looked_for_until_the_craft_is_there() -> None:
    class Source:
        name, controls, places, talk = "x", None, None, None

        async def stream(self) -> AsyncIterator[Update]:
            yield Update(None, "no feed at x")
            yield Update({"seq": 1}, None)
            yield Update(None, "feed at x ended")

    async def told() -> list[str | None]:
        return [one.problem async for one in Lacking(Source(), "nothing found").stream()]

    assert asyncio.run(told()) == ["nothing found", None, "feed at x ended"]


def test_without_the_library_it_says_how_to_have_it(monkeypatch: pytest.MonkeyPatch) -> None:
    real = builtins.__import__

    def without(name: str, *rest: Any, **more: Any) -> Any:
        if name.startswith("zeroconf"):
            raise ImportError(name)
        return real(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", without)
    port = nobody()
    found = asyncio.run(find_feed(port))
    assert (found.host, found.port) == ("127.0.0.1", port)
    assert "pip install 'wattwake[find]'" in found.said[0]
