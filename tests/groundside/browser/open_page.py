"""Shared by the browser server's tests: a server in this process, and browsers."""

import asyncio
import contextlib
import re
import ssl
import sys
from collections.abc import AsyncIterator, Sequence
from pathlib import Path
from typing import Any

import aiohttp
from yarl import URL

from groundside.browser.access import COOKIE, BrowserAccess
from groundside.browser.codes import code_text
from groundside.browser.places import WAITS_S
from groundside.browser.server import DashboardServer, serving
from onboard.crew.limits import Limits
from onboard.crew.members import CrewBook
from tests.patience import PATIENCE_S

NOT_LOGGED_IN = "This browser is not let in yet"


def tls(most: ssl.TLSVersion = ssl.TLSVersion.TLSv1_3) -> ssl.SSLContext:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    context.maximum_version = most
    return context


class RecordedStart:
    """A command line that only records its arguments, and ends at the first input."""

    def __init__(self, tmp_path: Path) -> None:
        self._file = tmp_path / "started"
        script = (
            "import sys\n"
            f"with open({str(self._file)!r}, 'a') as file: print(*sys.argv[1:], file=file)\n"
            "sys.stdin.buffer.read(1)"
        )
        self.command = [sys.executable, "-S", "-c", script, "watch"]

    def lines(self) -> list[str]:
        return self._file.read_text().splitlines() if self._file.exists() else []

    async def wait_for(self, count: int) -> list[str]:
        async with asyncio.timeout(PATIENCE_S):
            while len(self.lines()) < count:
                await asyncio.sleep(0.02)
        return self.lines()


class OpenPage:
    """The page, as a browser sees it."""

    def __init__(self, port: int, folder: Path) -> None:
        self.port, self.book = port, CrewBook(folder)
        self.host = f"127.0.0.1:{port}"
        self.url, self.origin = f"https://{self.host}", {"Origin": f"https://{self.host}"}
        self.came: list[str] = []

    def code(self, role: str = "crew", name: str = "") -> str:
        return code_text(self.book.invite(role, name))

    def token(self, role: str = "crew", name: str = "phone") -> str:
        made = self.book.redeem(self.book.invite(role, name), "x")
        assert made is not None
        return made[1]


@contextlib.asynccontextmanager
async def open_page(
    folder: Path,
    command: Sequence[str],
    most: int = 4,
    limits: Limits | None = None,
    waits_s: float = WAITS_S,
) -> AsyncIterator[OpenPage]:
    came: list[str] = []
    entry = BrowserAccess(folder, lambda member: came.append(member.name), limits)
    async with serving(DashboardServer(command, most, entry, waits_s), "127.0.0.1", 0) as port:
        there = OpenPage(port, folder)
        there.came = came
        yield there


class Browser:
    """A browser with cookies and persistent connections."""

    def __init__(self, page: OpenPage, token: str = "", source: str = "127.0.0.1") -> None:
        self._page = page
        jar = aiohttp.CookieJar(unsafe=True)
        if token:
            jar.update_cookies({COOKIE: token}, URL(page.url))
        connector = aiohttp.TCPConnector(ssl=tls(), local_addr=(source, 0))
        self.session = aiohttp.ClientSession(connector=connector, cookie_jar=jar)

    async def __aenter__(self) -> "Browser":
        return self

    async def __aexit__(self, *_: object) -> None:
        await self.session.close()
        await asyncio.sleep(0.05)  # TLS close

    async def ask(self, method: str, path: str, **more: Any) -> tuple[int, str, Any]:
        """Return a response's status, text and headers."""
        more.setdefault("allow_redirects", False)
        async with self.session.request(method, self._page.url + path, **more) as answer:
            return answer.status, await answer.text(), answer.headers

    async def type_code(self, text: str, **headers: str) -> tuple[int, str, Any]:
        """Send the login form."""
        headers = self._page.origin | headers
        return await self.ask("POST", "/pair", data={"code": text}, headers=headers)

    async def open_dashboard(
        self, tab: str = "", **headers: str
    ) -> aiohttp.ClientWebSocketResponse:
        address = f"{self._page.url}/ws?width=40&height=40&tab={tab}"
        return await self.session.ws_connect(address, headers=self._page.origin | headers)

    def cookie(self) -> str:
        found = self.session.cookie_jar.filter_cookies(URL(self._page.url)).get(COOKIE)
        return "" if found is None else found.value


def alert_of(text: str) -> str:
    """Return the sentence on top of the login page."""
    found = re.search(r'<p role="alert">(.*?)</p>', text)
    return found.group(1) if found else ""
