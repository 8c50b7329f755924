"""The feed: viewers come and go, and neither slow nor flooding ones delay others."""

import asyncio
import json
import socket

import pytest

from onboard.contract.codec import json_line as as_line
from onboard.errors import FeedError, UsageError
from onboard.feed.server import FeedServer, parse_listen
from onboard.feed.viewer import STANDSTILL_S
from tests.onboard.feed.talkers import LINE, opened
from tests.patience import until_async


def test_a_viewer_is_greeted_and_gets_what_is_published() -> None:
    async def scene() -> None:
        server, port = await opened()
        server.publish(as_line({"kind": "snapshot", "seq": 1}), 0.0)
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        hello, newest = json.loads(await reader.readline()), json.loads(await reader.readline())
        assert (hello["schema"], hello["kind"], hello["craft"]) == (2, "hello", "skiff")
        assert newest["seq"] == 1
        server.publish(as_line({"kind": "snapshot", "seq": 2}), 0.2)
        assert json.loads(await reader.readline())["seq"] == 2
        writer.close()
        await until_async(lambda: server.viewers == 0)
        server.publish(LINE, 0.4)
        await server.close()

    asyncio.run(scene())


def test_a_slow_viewer_is_skipped_then_disconnected_and_others_get_everything() -> None:
    async def scene() -> None:
        server, port = await opened()
        slow = socket.socket()
        slow.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        slow.connect(("127.0.0.1", port))
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        await reader.readline()
        await until_async(lambda: server.viewers == 2)
        got = 0
        for n in range(400):
            server.publish(LINE, 0.01 * n)
            assert await reader.readline() == LINE
            got += 1
        assert got == 400
        assert 0 < max(server.unsent_bytes) <= len(LINE)
        assert server.viewers == 2
        server.publish(LINE, 4.0 + STANDSTILL_S)
        assert await reader.readline() == LINE
        assert server.viewers == 1
        slow.close()
        writer.close()
        await server.close()

    asyncio.run(scene())


def test_a_viewer_that_sends_or_disconnects_does_no_harm() -> None:
    async def scene() -> None:
        server, port = await opened()
        rude = socket.create_connection(("127.0.0.1", port))
        rude.sendall(b"\x00\xff" * 5000 + b"{}\n")
        rude.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\x01\0\0\0\0\0\0\0")
        rude.close()  # a reset, not an orderly end
        await asyncio.sleep(0.02)
        for n in range(5):
            server.publish(LINE, float(n))
        await until_async(lambda: server.viewers == 0)
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        assert json.loads(await reader.readline())["kind"] == "hello"
        writer.close()
        await server.close()

    asyncio.run(scene())


def test_a_port_in_use_is_an_error() -> None:
    async def scene() -> None:
        with socket.create_server(("127.0.0.1", 0)) as taken:
            port = taken.getsockname()[1]
            with pytest.raises(FeedError, match=r"already in use.*--listen"):
                await FeedServer().open("127.0.0.1", port, "skiff")

    asyncio.run(scene())


@pytest.mark.parametrize("text", ["27220", "host:", ":1", "host:70000", "host:x"])
def test_a_malformed_address_is_an_error(text: str) -> None:
    with pytest.raises(UsageError, match="expected HOST:PORT"):
        parse_listen(text)


def test_an_end_with_viewers_connected_logs_nothing(caplog: pytest.LogCaptureFixture) -> None:
    async def ended() -> None:
        server = FeedServer()
        port = await server.open("127.0.0.1", 0, "skiff")
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        await reader.readline()
        # As the end of the loop does to tasks that still serve a viewer.
        others = asyncio.all_tasks() - {asyncio.current_task()}
        assert others
        for task in others:
            task.cancel()
        await asyncio.wait(others)
        writer.close()
        await server.close()

    asyncio.run(ended())
    assert not caplog.records
