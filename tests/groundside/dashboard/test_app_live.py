"""From the craft to the screen: a real daemon on a real record, a real dashboard for a browser.

The dashboard runs in a separate process behind the web server, where all of its output can be
read; it connects to the daemon over TCP like any other.
"""

import asyncio
import contextlib
import json
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import aiohttp
import pytest

from groundside.dashboard.app import DONE_S
from groundside.dashboard.run_presses import SETTLES_S
from groundside.dashboard.views.all import VIEWS
from groundside.dashboard.views.confirmation import TOO_SOON_S
from tests.free_port import free_port
from tests.groundside.browser.served import Served
from tests.patience import PATIENCE_S

TOP = Path(__file__).parents[3]
LOGS = TOP / "replay_logs"
DIGITS = {view.NAME: str(place) for place, view in enumerate(VIEWS, 1)}
MOVES = re.compile(rb"\x1b\[[0-9;?]*[ -/]*[@-~]|[MD]....", re.DOTALL)


@pytest.fixture
def daemon(tmp_path: Path) -> Iterator[tuple[int, Path]]:
    port = free_port()
    command = [sys.executable, "-m", "onboard", "--link", f"file:{LOGS / 'harbour_loop.tlog'}"]
    command += ["--profile", str(LOGS / "harbour_loop.toml"), "--record", str(tmp_path)]
    process = subprocess.Popen(
        [*command, "--listen", f"127.0.0.1:{port}"],
        cwd=TOP,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    assert process.stdout is not None
    for line in process.stdout:
        if "feed on" in line:
            break
    yield port, tmp_path
    process.terminate()
    process.wait()
    process.stdout.close()


class Browser:
    """Reads the dashboard's output, and presses keys."""

    def __init__(self, socket: aiohttp.ClientWebSocketResponse) -> None:
        self._socket = socket
        self._seen = b""

    async def sees(self, *words: str) -> None:
        """Wait until all of these have been painted since the last wait."""
        async with asyncio.timeout(PATIENCE_S):
            while not all(word.encode() in MOVES.sub(b"", self._seen) for word in words):
                message = await self._socket.receive()
                assert message.type == aiohttp.WSMsgType.BINARY, message
                self._seen += message.data
        self._seen = b""

    async def press(self, keys: str) -> None:
        await self._socket.send_json(["stdin", keys])

    async def press_until_seen(self, key: str, words: str) -> None:
        """Press a key until the screen shows some words: two presses do, but not in a row."""
        async with asyncio.timeout(PATIENCE_S):
            while words.encode() not in MOVES.sub(b"", self._seen):
                await self.press(key)
                with contextlib.suppress(TimeoutError):  # then a press is no bounce
                    async with asyncio.timeout(2.0 * TOO_SOON_S):
                        while words.encode() not in MOVES.sub(b"", self._seen):
                            message = await self._socket.receive()
                            assert message.type == aiohttp.WSMsgType.BINARY, message
                            self._seen += message.data
        self._seen = b""


def stored_commands(record: Path) -> list[dict[str, object]]:
    """Return the commands stored by the daemon beside its record."""
    (marks,) = record.glob("*/marks.jsonl")
    lines = map(json.loads, marks.read_text().splitlines())
    return [{k: v for k, v in line.items() if k in ("key", "value", "mark")} for line in lines]


@pytest.mark.slow
def test_a_run_a_target_and_home_from_the_screen_to_the_record(daemon: tuple[int, Path]) -> None:
    port, record = daemon
    served = Served(feed=port)

    async def ride() -> None:
        async with (
            aiohttp.ClientSession() as session,
            session.ws_connect(
                f"{served.url}/ws?width=80&height=24", headers=served.origin
            ) as socket,
        ):
            browser = Browser(socket)
            await browser.sees("Wh/km", "range", "under 1 s old", "km/h")
            await browser.press("\r")  # confirms the caution
            await browser.press_until_seen("r", "run started")
            await browser.press(DIGITS["runs"])
            await browser.sees("run 1 OPEN")
            # A second press at once would count as a bouncing thumb: wait until the screen's
            # message has expired and the age is shown alone again.
            assert DONE_S > SETTLES_S
            await browser.sees("under 1 s old")
            await browser.press_until_seen("r", "run ended")
            await browser.press(DIGITS["aim"])
            await browser.sees("speed over ground to hold")
            await browser.press("p")
            await browser.sees("battery power to hold")
            await browser.press("\r")
            await browser.sees("target: power")
            await browser.press("4")
            await browser.sees("stimate")

    try:
        asyncio.run(ride())
    finally:
        served.process.terminate()
        served.process.wait()
        served.process.stdout.close()
    marks = stored_commands(record)
    assert [line.get("mark") for line in marks[:2]] == ["run_start", "run_end"]
    assert marks[2]["key"] == "target_power_w"
    assert isinstance(marks[2]["value"], float)
