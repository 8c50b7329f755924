"""The web server: real dashboards behind real websockets, as a browser opens them."""

import asyncio
import os
import re
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator

import aiohttp
import pytest

from groundside.browser.dashboard_process import CLOSE_QUIT
from groundside.browser.page_address import page_addresses
from groundside.browser.server import PAGE
from tests.daemon_process import ROOT
from tests.groundside.browser.served import Served, children_of, gone_within, is_there
from tests.patience import PATIENCE_S


@pytest.fixture
def served() -> Iterator[Served]:
    made = Served("--viewers", "2")
    yield made
    made.process.kill()
    made.process.wait()
    if made.process.stdout is not None:
        made.process.stdout.close()


async def first_picture(socket: aiohttp.ClientWebSocketResponse, words: str) -> None:
    """Read until the dashboard has drawn some words."""
    seen = b""
    async with asyncio.timeout(PATIENCE_S):
        while words.encode() not in seen:
            message = await socket.receive()
            assert message.type == aiohttp.WSMsgType.BINARY, message
            seen += message.data


@pytest.mark.slow
def test_a_browser_gets_the_page_and_a_dashboard(served: Served) -> None:
    assert served.url in served.first_line

    async def browse() -> None:
        async with aiohttp.ClientSession() as session:
            async with session.get(served.url + "/") as answer:
                page = await answer.text()
                assert "default-src 'self'" in answer.headers["Content-Security-Policy"]
            assert page == PAGE.read_text(encoding="utf-8")
            paths = re.findall(r'(?:src|href)="((?:static|page)/[^"]+)"', page)
            assert {"static/js/textual.js", "static/css/xterm.css", "page/start.js"} <= {*paths}
            for path in paths:
                async with session.get(f"{served.url}/{path}") as answer:
                    assert answer.status == 200
                    is_script = path.endswith(".js")  # browsers run no other type (nosniff)
                    assert ("javascript" in answer.headers["Content-Type"]) == is_script
            address = f"{served.url}/ws?width=40&height=22"
            async with session.ws_connect(address, headers=served.origin) as one:
                await first_picture(one, "keep a reserve")
                await one.send_json(["stdin", "4"])
                await first_picture(one, "NOT KNOWN")
                for nonsense in ("x", "[]", '["resize", 3]', '["stdin", 3]', "[[], {}]"):
                    await one.send_str(nonsense)
                await one.send_json(["stdin", "q"])
                async with asyncio.timeout(PATIENCE_S):
                    while (message := await one.receive()).type == aiohttp.WSMsgType.BINARY:
                        pass
                assert (message.type, one.close_code) == (aiohttp.WSMsgType.CLOSE, CLOSE_QUIT)

    asyncio.run(browse())


@pytest.mark.slow
def test_places_are_limited_and_become_free_again(served: Served) -> None:
    async def free(session: aiohttp.ClientSession) -> int:
        async with session.get(served.url + "/state") as answer:
            return int((await answer.json())["free"])

    async def browse() -> None:
        async with aiohttp.ClientSession() as session:
            address = served.url + "/ws"
            one = await session.ws_connect(address, headers=served.origin)
            two = await session.ws_connect(address, headers=served.origin)
            await asyncio.gather(*(first_picture(each, "life jacket") for each in (one, two)))
            assert await free(session) == 0
            with pytest.raises(aiohttp.WSServerHandshakeError) as refused:
                await session.ws_connect(address, headers=served.origin)
            assert refused.value.status == 503
            pids = children_of(served.process.pid)
            assert len(pids) == 2
            await one.close()
            assert one.close_code != CLOSE_QUIT
            for _ in range(100):
                if await free(session) == 1:
                    break
                await asyncio.sleep(0.05)
            assert await free(session) == 1
            assert sum(map(is_there, pids)) == 1
            await two.close()

    asyncio.run(browse())


@pytest.mark.slow
def test_pages_from_elsewhere_are_refused(served: Served) -> None:
    async def browse() -> None:
        async with aiohttp.ClientSession() as session:
            for headers in ({}, {"Origin": "http://example.org"}, {"Origin": "null"}):
                with pytest.raises(aiohttp.WSServerHandshakeError) as refused:
                    await session.ws_connect(served.url + "/ws", headers=headers)
                assert refused.value.status == 403
            # A foreign name pointed at this address.
            name = {"Host": "example.org", "Origin": "http://example.org"}
            for path in ("/", "/ws", "/state"):
                async with session.get(served.url + path, headers=name) as answer:
                    assert answer.status == 403
            for path in ("/static/", "/static/../server.py", "/static/%2e%2e/server.py"):
                async with session.get(served.url + path) as answer:
                    assert answer.status in (403, 404)
        assert children_of(served.process.pid) == []

    asyncio.run(browse())


async def with_two(served: Served, number: int) -> list[int]:
    """Open two dashboards, send the server a signal, return the dashboards' processes."""
    async with aiohttp.ClientSession() as session:
        sockets = [
            await session.ws_connect(served.url + "/ws", headers=served.origin) for _ in range(2)
        ]
        for each in sockets:
            await first_picture(each, "life jacket")
        pids = children_of(served.process.pid)
        assert len(pids) == 2
        os.kill(served.process.pid, number)
        await asyncio.to_thread(served.process.wait, PATIENCE_S)
    return pids


@pytest.mark.slow
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_the_server_ends_with_all_its_dashboards(served: Served, number: int) -> None:
    pids = asyncio.run(with_two(served, number))
    assert served.process.returncode == 0
    assert gone_within(pids, PATIENCE_S)


@pytest.mark.slow
def test_a_killed_server_leaves_no_dashboard_behind(served: Served) -> None:
    pids = asyncio.run(with_two(served, signal.SIGKILL))
    assert gone_within(pids, PATIENCE_S)


def test_an_address_in_use_is_a_one_line_error() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        command = [sys.executable, "-m", "groundside", "serve", "127.0.0.1:1"]
        done = subprocess.run(
            [*command, "--bind", f"127.0.0.1:{port}"],
            cwd=ROOT,
            capture_output=True,
            text=True,
            timeout=PATIENCE_S,
            check=False,
        )
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert f"--bind 127.0.0.1:{port}: " in done.stderr
    assert "in use" in done.stderr


def test_the_page_fetches_nothing_from_elsewhere() -> None:
    files = [path for path in PAGE.parent.iterdir() if path.is_file()]
    assert len(files) >= 7 and {path.suffix for path in files} == {".html", ".js"}
    for path in files:
        text = path.read_text(encoding="utf-8")
        assert "//" not in text.replace("ws://", "").replace("wss://", "").replace("// ", ""), path


def test_page_addresses() -> None:
    addresses = page_addresses("0.0.0.0", 27221)
    assert all(one.startswith("http://") and one.endswith(":27221/") for one in addresses)
    assert addresses[-1] == f"http://{socket.gethostname()}.local:27221/"
