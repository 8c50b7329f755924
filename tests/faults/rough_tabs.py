"""Browsers that reconnect in a storm: no tab gets the dashboard of another, no process is left.

    python -m tests.faults.rough_tabs --seed 1 --seconds 60

Each dashboard is a stand-in that repeats the name of everyone who ever typed into it. Members share
the names of their tabs, lose their links, give impossible names and sizes, and are revoked.
"""

import argparse
import asyncio
import contextlib
import json
import logging
import random
import ssl
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import quote

import aiohttp

from groundside.browser.access import COOKIE, BrowserAccess
from groundside.browser.server import DashboardServer, serving
from onboard.crew.keys import make_identity
from onboard.crew.limits import Limits
from onboard.crew.members import CrewBook
from tests.patience import PATIENCE_S

STAND_IN = r"""
import os, sys
out, given, names = sys.stdout.buffer, sys.stdin.buffer, set()
with open(sys.argv[1], "a") as file:
    file.write(f"{os.getpid()}\n")
def draw(data):
    out.write(b"D" + len(data).to_bytes(4, "big") + data)
    out.flush()
out.write(b"__GANGLION__\n")
draw(b"\x1b[?1049h")
while len(head := given.read(5)) == 5:
    data = given.read(int.from_bytes(head[1:], "big"))
    if data.startswith(b"I am "):
        names.add(data[5:])
        draw(b"(" + b",".join(sorted(names)) + b")")
    elif head[:1] == b"M" and b'"quit"' in data:
        break
"""
MOST = 4
WAITS_S = 0.3
VIEWERS = 100_000
"""So many may come at once: here the limits on newcomers are not what is attacked."""
ROLES = {"phone": "crew", "tablet": "crew", "lent": "viewer", "lost": "crew"}
REVOKED = "lost"
TABS = ("0a" * 16, "0b" * 16, "0c" * 16)
NO_TABS = ("", "zz", "0a" * 15, "0a" * 17, "0A" * 16, "0a" * 15 + "0\n", "\x00" * 32, "船" * 32)
LONG_TABS = ("0" * 5_000, "0a" * 200_000)
SIZES = ("40", "0", "-1", "999999999999", "1e9", "abc", "", "٣")
ODD = (
    *("", "[", "null", "[[[[", '["resize"]', '["resize", 3]', '["resize", {"width": 1e999}]'),
    *('["resize", {"width": "x", "height": []}]', '["stdin", 5]', '["ping"]', '["blur", 0]'),
    *('["stdin", "\\ud800"]', '["later", 1]', "[" * 5_000),
)


@dataclass
class Outcome:
    """What came of it."""

    connections: Counter[str] = field(default_factory=Counter)
    most_processes: int = 0
    started: int = 0
    failures: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        found = ", ".join(f"{name} {count}" for name, count in sorted(self.connections.items()))
        return f"{found}; {self.started} processes, at most {self.most_processes} at a time"


class _Errors(logging.Handler):
    """Keeps what the server logs as an error."""

    def __init__(self, outcome: Outcome) -> None:
        super().__init__(logging.ERROR)
        self._outcome = outcome

    def emit(self, record: logging.LogRecord) -> None:
        self._outcome.failures.append(f"logged: {record.getMessage()} {record.exc_info}")


class Storm:
    """The browsers.

    Parameters
    ----------
    chance
        Where choices come from.
    port
        The page's.
    tokens
        By member.
    started
        The file in which stand-ins note their process.
    """

    def __init__(
        self, chance: random.Random, port: int, tokens: dict[str, str], started: Path
    ) -> None:
        self._chance, self._port, self._tokens = chance, port, tokens
        self._started = started
        self._unnamed = 0
        self.outcome = Outcome()
        self.revoked = False

    async def browse(self, until_s: float) -> None:
        """Open one page after another, each from another address of this machine."""
        while time.monotonic() < until_s and not self.outcome.failures:
            member = self._chance.choice(list(ROLES))
            tab = self._chance.choice(
                (*TABS, *TABS, *NO_TABS, *LONG_TABS[: self._chance.randrange(3)])
            )
            knew = self.revoked
            try:
                async with self._session() as session:
                    await self._one(session, member, tab, knew=knew)
            except aiohttp.WSServerHandshakeError as refused:
                self.outcome.connections[f"refused {refused.status}"] += 1
                if refused.status not in (400, 403, 414, 503):
                    self.outcome.failures.append(f"status {refused.status} for {tab[:40]!r}")
            except (aiohttp.ClientError, OSError) as problem:
                self.outcome.connections[type(problem).__name__] += 1
                await asyncio.sleep(0.05)
            running = sum(map(is_there, self._pids()))
            self.outcome.most_processes = max(self.outcome.most_processes, running)

    def _session(self) -> aiohttp.ClientSession:
        address = f"127.0.{self._chance.randrange(256)}.{self._chance.randint(1, 254)}"
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
        context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
        connector = aiohttp.TCPConnector(ssl=context, local_addr=(address, 0))
        return aiohttp.ClientSession(connector=connector, cookie_jar=aiohttp.DummyCookieJar())

    async def _one(
        self, session: aiohttp.ClientSession, member: str, tab: str, *, knew: bool
    ) -> None:
        host = f"https://127.0.0.1:{self._port}"
        width, height = (self._chance.choice(SIZES) for _ in range(2))
        address = f"{host}/ws?width={quote(width)}&height={quote(height)}&tab={quote(tab)}"
        headers = {"Origin": host, "Cookie": f"{COOKIE}={self._tokens[member]}"}
        socket = await session.ws_connect(address, headers=headers)
        if member == REVOKED and knew:
            self.outcome.failures.append("a revoked member was let in")
        name = f"{member}/{tab[:2]}"
        if tab not in TABS:  # nobody may ever come back to it
            self._unnamed += 1
            name = f"{member}/unnamed {self._unnamed}"
        self.outcome.connections["let in"] += 1
        with contextlib.suppress(ConnectionError, TimeoutError):
            for _ in range(self._chance.randrange(4)):
                await socket.send_str(self._chance.choice(ODD))
            for _ in range(self._chance.choice((0, 1, 200))):
                size = {
                    "width": self._chance.randint(-9, 999),
                    "height": self._chance.randint(0, 99),
                }
                await socket.send_json(["resize", size])
            await socket.send_json(["stdin", f"I am {name}"])
            seen = await self._answer(socket)
            if seen and seen != name:
                self.outcome.failures.append(f"{name} sees the dashboard of {seen}")
            self.outcome.connections["answered" if seen else "taken over"] += 1
        if self._chance.random() < 0.6 and socket._response.connection is not None:
            transport = socket._response.connection.transport
            if transport is not None:
                transport.abort()
        await socket.close()

    async def _answer(self, socket: aiohttp.ClientWebSocketResponse) -> str:
        """Return the names that a stand-in repeats; empty if the websocket is closed before."""
        seen = b""
        async with asyncio.timeout(PATIENCE_S):
            while b")" not in seen:
                message = await socket.receive()
                if message.type is not aiohttp.WSMsgType.BINARY:
                    return ""
                seen += message.data
        return seen[seen.index(b"(") + 1 : seen.index(b")")].decode()

    def _pids(self) -> list[int]:
        return [int(line) for line in self._started.read_text().split()]

    def ended(self) -> None:
        """Note what is left when the server has ended."""
        self.outcome.started = len(self._pids())
        left = [pid for pid in self._pids() if is_there(pid)]
        if left:
            self.outcome.failures.append(f"processes left: {left}")
        if self.outcome.most_processes > MOST:
            self.outcome.failures.append(f"{self.outcome.most_processes} dashboards, not {MOST}")


def is_there(pid: int) -> bool:
    """Return whether a process runs."""
    with contextlib.suppress(OSError):
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    return False


async def storm(seed: int, seconds_s: float, browsers: int = 8) -> Outcome:
    """Let browsers reconnect for a while; one member is revoked halfway."""
    with tempfile.TemporaryDirectory(prefix="rough-") as place:
        folder, started = Path(place) / "pairing", Path(place) / "started"
        make_identity(folder)
        started.touch()
        book = CrewBook(folder)
        tokens = {}
        for name, role in ROLES.items():
            made = book.redeem(book.invite(role, name), "x")
            assert made is not None
            tokens[name] = made[1]
        command = [sys.executable, "-I", "-S", "-c", STAND_IN, str(started)]
        server = DashboardServer(
            command, MOST, BrowserAccess(folder, limits=Limits(VIEWERS)), WAITS_S
        )
        async with serving(server, "127.0.0.1", 0) as port:
            found = Storm(random.Random(seed), port, tokens, started)
            errors = _Errors(found.outcome)
            logging.getLogger().addHandler(errors)
            try:
                await _browse(found, book, seconds_s, browsers)
            finally:
                logging.getLogger().removeHandler(errors)
        found.ended()
        return found.outcome


async def _browse(found: Storm, book: CrewBook, seconds_s: float, browsers: int) -> None:
    until_s = time.monotonic() + seconds_s
    browsing = [asyncio.create_task(found.browse(until_s)) for _ in range(browsers)]
    await asyncio.sleep(seconds_s / 2)
    book.revoke(REVOKED)
    await asyncio.sleep(min(2.5, seconds_s / 4))
    found.revoked = True
    await asyncio.gather(*browsing)


def main(argv: list[str] | None = None) -> int:
    """Read the command line and run."""
    parser = argparse.ArgumentParser(prog="tests.faults.rough_tabs", description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=60.0)
    arguments = parser.parse_args(argv)
    outcome = asyncio.run(storm(arguments.seed, arguments.seconds))
    print(f"storm of {arguments.seconds:g} s, seed {arguments.seed}: {json.dumps(str(outcome))}")
    print(*outcome.failures, "FAIL" if outcome.failures else "PASS", sep="\n", flush=True)
    return 1 if outcome.failures else 0


if __name__ == "__main__":
    sys.exit(main())
