"""Browser access: a code is exchanged for a cookie, without which there is only the login page."""

import asyncio
import json
import socket
import sys
from pathlib import Path

import aiohttp
import pytest

from groundside.browser.access import COOKIE, COOKIE_LIFETIME_S, BrowserAccess
from groundside.browser.dashboard_process import CLOSE_REVOKED
from groundside.browser.login_page import login_page
from groundside.browser.server import PAGE, DashboardServer, serving
from onboard.errors import WattwakeError
from tests.groundside.browser.open_page import (
    NOT_LOGGED_IN,
    Browser,
    RecordedStart,
    alert_of,
    open_page,
)
from tests.groundside.browser.served import gone_within
from tests.onboard.crew.doors import paired_folder
from tests.patience import PATIENCE_S

pytestmark = pytest.mark.slow

LOGIN_PAGE = str(login_page(403).text)

PATHS = (
    "/",
    "/state",
    "/ws",
    "/pair",
    "/static/js/textual.js",
    "/static/",
    "/nowhere",
    "/a/b?c=d",
    "/static/%2e%2e/server.py",
)
METHODS = ("GET", "HEAD", "PUT", "DELETE", "OPTIONS", "PATCH", "TRACE", "PROPFIND")


def test_without_a_cookie_every_request_gets_the_login_page(tmp_path: Path) -> None:
    started = RecordedStart(tmp_path)

    async def browse() -> None:
        async with (
            open_page(paired_folder(tmp_path), started.command) as page,
            Browser(page) as browser,
        ):
            for path in PATHS:
                for method in METHODS:
                    status, text, headers = await browser.ask(method, path)
                    assert (status, headers.get("Set-Cookie")) == (403, None), (method, path)
                    assert text == ("" if method == "HEAD" else LOGIN_PAGE), (method, path)
                    assert "Server" not in headers
            status, text, _ = await browser.ask("POST", "/state", headers=page.origin)
            assert (status, text) == (403, LOGIN_PAGE)

    asyncio.run(browse())
    assert NOT_LOGGED_IN in LOGIN_PAGE
    assert started.lines() == []


def test_the_login_page_says_what_to_do_and_nothing_of_the_craft() -> None:
    for words in ("Code", "Let me in", "SHA-256 fingerprint", "ten minutes", "Enter"):
        assert words in LOGIN_PAGE
    assert "//" not in LOGIN_PAGE.replace("; //", ";").replace("  //", "  ")
    for figure in ("Wh", "km", "craft", "version"):
        assert figure not in LOGIN_PAGE


def test_headers_of_the_login_page(tmp_path: Path) -> None:
    async def browse() -> None:
        async with open_page(paired_folder(tmp_path), []) as page, Browser(page) as browser:
            _, _, headers = await browser.ask("GET", "/")
        policy = headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy and "form-action 'self'" in policy
        assert "unsafe" not in policy and "frame-ancestors 'none'" in policy
        assert headers["Cache-Control"] == "no-store"
        assert headers["X-Content-Type-Options"] == "nosniff"
        # With no-referrer a browser would send Origin: null with the form (Fetch, 3.2).
        assert headers["Referrer-Policy"] == "same-origin"
        assert "Strict-Transport-Security" not in headers

    asyncio.run(browse())


def test_a_code_becomes_a_cookie_once(tmp_path: Path) -> None:
    folder = paired_folder(tmp_path)

    async def browse() -> None:
        async with (
            open_page(folder, []) as page,
            Browser(page) as one,
            Browser(page) as two,
        ):
            code = page.code(name="old phone")
            status, text, headers = await one.type_code(f" {code.lower().replace('-', ' ')} ")
            assert (status, headers["Location"], text) == (303, "/", "")
            set_cookie = headers["Set-Cookie"]
            name, _, rest = set_cookie.partition("=")
            token, *flags = rest.split("; ")
            assert name == COOKIE == "__Host-wattwake"
            assert {*flags} == {
                "Secure",
                "HttpOnly",
                "SameSite=Strict",
                "Path=/",
                f"Max-Age={COOKIE_LIFETIME_S}",
            }
            assert len(token) >= 43  # 256 bits, six per letter
            stored = page.book.path.read_text()
            assert token not in stored and code.replace("-", "") not in stored
            assert page.book.path.stat().st_mode & 0o777 == 0o600
            status, text, headers = await one.ask("GET", "/")
            assert (status, text) == (200, PAGE.read_text(encoding="utf-8"))
            assert f"Max-Age={COOKIE_LIFETIME_S}" in headers["Set-Cookie"]  # renewed
            assert "no-store" in headers["Cache-Control"] and "Server" not in headers
            assert json.loads((await one.ask("GET", "/state"))[1]) == {"free": 4, "most": 4}
            status, text, headers = await two.type_code(code)
            assert (status, headers.get("Set-Cookie")) == (403, None)
            assert "not good" in alert_of(text)
            assert (await two.ask("GET", "/state"))[1] == LOGIN_PAGE
            assert [(one.name, one.role) for one in page.book.read().members] == [
                ("old phone", "crew")
            ]
            assert page.came == ["old phone"]

    asyncio.run(browse())


def test_another_code_replaces_the_browser_s_membership(tmp_path: Path) -> None:
    async def browse() -> None:
        async with open_page(paired_folder(tmp_path), []) as page, Browser(page) as browser:
            assert (await browser.type_code(page.code("viewer")))[0] == 303
            assert (await browser.ask("GET", "/pair"))[:2] == (200, LOGIN_PAGE)
            old = browser.cookie()
            assert (await browser.type_code(page.code("crew")))[0] == 303
            assert browser.cookie() != old
            members = page.book.read().members
            assert [(one.name, one.role) for one in members] == [("browser-2", "crew")]
            # A wrong code changes nothing.
            assert (await browser.type_code("AAAAA-AAAAA"))[0] == 403
            assert (await browser.ask("GET", "/state"))[0] == 200

    asyncio.run(browse())


def test_a_websocket_without_a_member_starts_no_process(tmp_path: Path) -> None:
    started = RecordedStart(tmp_path)

    async def browse() -> None:
        async with open_page(paired_folder(tmp_path), started.command) as page:
            async with Browser(page) as stranger, Browser(page, "wrong") as liar:
                for one in (stranger, liar):
                    with pytest.raises(aiohttp.WSServerHandshakeError) as refused:
                        await one.open_dashboard()
                    assert refused.value.status == 403
            async with Browser(page, page.token()) as member:
                for origin in ("https://example.org", f"http://{page.host}", "null", ""):
                    with pytest.raises(aiohttp.WSServerHandshakeError) as refused:
                        await member.open_dashboard(Origin=origin)
                    assert refused.value.status == 403
                assert started.lines() == []
                socket = await member.open_dashboard()
                assert await started.wait_for(1) == ["watch"]
                await socket.close()

    asyncio.run(browse())


def test_a_viewer_gets_a_read_only_dashboard(tmp_path: Path) -> None:
    started = RecordedStart(tmp_path)

    async def browse() -> None:
        async with (
            open_page(paired_folder(tmp_path), started.command, most=2) as page,
            Browser(page, page.token("viewer", "v")) as viewer,
            Browser(page, page.token("crew", "c")) as crew,
        ):
            socket = await viewer.open_dashboard()
            assert await started.wait_for(1) == ["watch --read-only"]
            # The last place is reserved for the crew.
            assert json.loads((await viewer.ask("GET", "/state"))[1])["free"] == 0
            with pytest.raises(aiohttp.WSServerHandshakeError) as refused:
                await viewer.open_dashboard()
            assert refused.value.status == 503
            also = await crew.open_dashboard()
            assert await started.wait_for(2) == ["watch --read-only", "watch"]
            await asyncio.gather(socket.close(), also.close())

    asyncio.run(browse())


def test_revoking_closes_the_open_page_within_seconds(tmp_path: Path) -> None:
    started = RecordedStart(tmp_path)

    async def browse() -> None:
        async with (
            open_page(paired_folder(tmp_path), started.command) as page,
            Browser(page, page.token("crew", "lost phone")) as lost,
            Browser(page, page.token("crew", "mine")) as mine,
        ):
            socket, stays = await lost.open_dashboard(), await mine.open_dashboard()
            await started.wait_for(2)
            assert page.book.revoke("lost phone")
            async with asyncio.timeout(PATIENCE_S):
                message = await socket.receive()
            assert (message.type, message.data) == (aiohttp.WSMsgType.CLOSE, CLOSE_REVOKED)
            assert (await lost.ask("GET", "/"))[:2] == (403, LOGIN_PAGE)
            with pytest.raises(aiohttp.WSServerHandshakeError):
                await lost.open_dashboard()
            assert (await mine.ask("GET", "/state"))[0] == 200
            with pytest.raises(TimeoutError):
                await stays.receive(timeout=1.5)
            await stays.close()

    asyncio.run(browse())


def test_an_unusable_crew_file_revokes_nobody_and_lets_nobody_in(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    async def browse() -> None:
        async with (
            open_page(paired_folder(tmp_path), []) as page,
            Browser(page, page.token()) as mine,
            Browser(page) as stranger,
        ):
            assert (await mine.ask("GET", "/state"))[0] == 200
            code = page.code()
            page.book.path.write_text("{")
            assert (await mine.ask("GET", "/state"))[0] == 200
            assert (await stranger.type_code(code))[0] == 403
            page.book.path.unlink()
            assert (await mine.ask("GET", "/state"))[0] == 403

    asyncio.run(browse())
    assert "cannot be used" in capsys.readouterr().err


def test_a_dashboard_that_does_not_end_is_killed(tmp_path: Path) -> None:
    note = tmp_path / "pid"
    script = f"import os, time; open({str(note)!r}, 'w').write(str(os.getpid())); time.sleep(600)"

    async def browse() -> None:
        async with (
            open_page(paired_folder(tmp_path), [sys.executable, "-S", "-c", script]) as page,
            Browser(page, page.token()) as member,
        ):
            await member.open_dashboard()
            async with asyncio.timeout(PATIENCE_S):
                while not (note.exists() and note.read_text()):
                    await asyncio.sleep(0.02)
        # The server ends before its timeout for the dashboard.

    asyncio.run(browse())
    assert gone_within([int(note.read_text())], PATIENCE_S)


def test_a_port_in_use_is_an_error(tmp_path: Path) -> None:
    dashboards = DashboardServer([], 1, BrowserAccess(paired_folder(tmp_path)))

    async def try_it(port: int) -> None:
        async with serving(dashboards, "127.0.0.1", port):
            pass

    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        with pytest.raises(WattwakeError, match="in use"):
            asyncio.run(try_it(taken.getsockname()[1]))
