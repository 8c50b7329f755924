"""Hostile input to the web server: forms, cookies, host names, malformed requests."""

import asyncio
import ssl
from pathlib import Path

import aiohttp
import pytest

from groundside.browser.access import COOKIE
from groundside.browser.server import DashboardServer, serving
from tests.groundside.browser.open_page import (
    Browser,
    OpenPage,
    RecordedStart,
    open_page,
    tls,
)
from tests.onboard.crew.doors import paired_folder
from tests.patience import PATIENCE_S

pytestmark = pytest.mark.slow


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "https://example.org"},
        {"Origin": "null"},
        {"Origin": ""},
        {"Origin": "http://127.0.0.1:{port}"},
        {"Origin": "https://127.0.0.1:1"},
        {"Origin": "https://[broken"},
        {"Host": "example.org", "Origin": "https://example.org"},
        {"Content-Type": "text/plain"},
        {"Content-Type": "multipart/form-data"},
        {"Content-Type": "application/x-www-form-urlencoded; charset=nonsense"},
    ],
)
def test_a_form_from_elsewhere_redeems_no_code(tmp_path: Path, headers: dict[str, str]) -> None:
    async def browse() -> None:
        async with open_page(paired_folder(tmp_path), []) as page, Browser(page) as browser:
            code = page.code()
            there = {key: value.format(port=page.port) for key, value in headers.items()}
            status, _, answered = await browser.ask(
                "POST",
                "/pair",
                data=f"code={code}",
                headers=page.origin | {"Content-Type": "application/x-www-form-urlencoded"} | there,
            )
            assert status in (400, 403) and "Set-Cookie" not in answered
            assert (await browser.ask("GET", f"/pair?code={code}"))[0] == 403
            assert len(page.book.waiting()) == 1 and page.book.read().members == ()
            assert (await browser.type_code(code))[0] == 303

    asyncio.run(browse())


@pytest.mark.parametrize(
    "cookie",
    [
        f"{COOKIE}=",
        f"{COOKIE}=wrong",
        f"{COOKIE}=" + "a" * 3000,
        f"{COOKIE}=" + "a" * 60_000,
        f"{COOKIE}=\u00e9\u20ac",
        f"{COOKIE}=\udcff\udcfe",  # bytes that are no UTF-8
        f'{COOKIE}="; {COOKIE}=; ;;=;,\\"',
        "wattwake={token}",
        f"{COOKIE}={{token}}x",
        f"{COOKIE}={{sum}}",
    ],
)
def test_no_other_cookie_lets_in(tmp_path: Path, cookie: str) -> None:
    async def browse() -> None:
        async with open_page(paired_folder(tmp_path), []) as page:
            token = page.token()
            [member] = page.book.read().members
            sent = cookie.format(token=token, sum=member.token_sha256)
            answer = await raw(page, f"GET /state HTTP/1.1\r\nHost: {page.host}\r\nCookie: {sent}")
            assert answer.split()[1] in (b"403", b"400")
            assert b"free" not in answer and b"Server: P" not in answer
            right = f"GET /state HTTP/1.1\r\nHost: {page.host}\r\nCookie: {COOKIE}={token}"
            assert b"free" in await raw(page, right)

    asyncio.run(browse())


def test_only_the_page_s_own_form_encoding_is_read(tmp_path: Path) -> None:
    async def browse() -> None:
        async with open_page(paired_folder(tmp_path), []) as page, Browser(page) as browser:
            form = aiohttp.FormData({"code": page.code()}, default_to_multipart=True)
            assert (await browser.ask("POST", "/pair", data=form, headers=page.origin))[0] == 400
            assert page.book.read().members == ()

    asyncio.run(browse())


async def raw(page: OpenPage, request: str) -> bytes:
    """Send a request; return all that comes back."""
    reader, writer = await asyncio.open_connection(
        "127.0.0.1", page.port, ssl=tls(), server_hostname=""
    )
    try:
        writer.write(request.encode(errors="surrogateescape") + b"\r\nConnection: close\r\n\r\n")
        async with asyncio.timeout(PATIENCE_S):
            return await reader.read(1 << 16)
    finally:
        writer.transport.abort()
        await asyncio.sleep(0.01)


@pytest.mark.parametrize("host", ["example.org", "127.0.0.1.example.org", "[broken", "", "a b"])
def test_under_a_foreign_host_name_even_members_get_nothing(tmp_path: Path, host: str) -> None:
    async def browse() -> None:
        async with open_page(paired_folder(tmp_path), []) as page:
            cookie = f"Cookie: {COOKIE}={page.token()}"
            answer = await raw(page, f"GET /state HTTP/1.1\r\nHost: {host}\r\n{cookie}")
            assert answer.split()[1] in (b"403", b"400")
            assert b"free" not in answer

    asyncio.run(browse())


def test_malformed_requests_reveal_nothing(tmp_path: Path) -> None:
    async def browse() -> None:
        async with open_page(paired_folder(tmp_path), []) as page:
            for nonsense in ("x", "GET / HTTP/9.9", "\0\1\2", "GET / HTTP/1.1\r\nA" + "b" * 9000):
                answer = await raw(page, nonsense)
                assert answer == b"" or b" 400 " in answer.split(b"\r\n")[0]
                for word in (b"aiohttp", b"Python", b"wattwake"):
                    assert word not in answer

    asyncio.run(browse())


def test_plain_connections_and_old_tls_are_refused(tmp_path: Path) -> None:
    async def browse() -> None:
        async with open_page(paired_folder(tmp_path), []) as page:
            reader, writer = await asyncio.open_connection("127.0.0.1", page.port)
            writer.write(f"GET / HTTP/1.1\r\nHost: {page.host}\r\n\r\n".encode())
            async with asyncio.timeout(PATIENCE_S):
                try:
                    answer = await reader.read()
                except ConnectionError:
                    answer = b""
            writer.close()
            assert b"HTTP" not in answer and len(answer) < 64
            old = tls(ssl.TLSVersion.TLSv1_1)
            old.minimum_version = ssl.TLSVersion.TLSv1
            old.set_ciphers("ALL:@SECLEVEL=0")
            with pytest.raises(OSError):
                await asyncio.open_connection("127.0.0.1", page.port, ssl=old, server_hostname="")

    with pytest.warns(DeprecationWarning):
        asyncio.run(browse())


@pytest.mark.parametrize(
    "text",
    [
        '["resize", {"width": 1e999, "height": 1}]',
        '["resize", {"width": NaN, "height": 1}]',
        '["resize", {"width": 1}]',
        '["stdin", "\\ud800"]',
        "[" * 60_000,
        "{",
        "[]",
    ],
)
def test_malformed_messages_are_ignored(tmp_path: Path, text: str) -> None:
    async def browse() -> None:
        command = RecordedStart(tmp_path).command
        async with (
            open_page(paired_folder(tmp_path), command) as page,
            Browser(page, page.token()) as browser,
            await browser.open_dashboard() as socket,
        ):
            await socket.send_str(text)
            await socket.send_str('["ping", "still here"]')
            async with asyncio.timeout(PATIENCE_S):
                while (await socket.receive()).data != '["pong", "still here"]':
                    assert not socket.closed

    asyncio.run(browse())


def test_a_member_s_plain_request_for_the_websocket_is_a_bad_request(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    async def browse() -> None:
        async with (
            open_page(paired_folder(tmp_path), []) as page,
            Browser(page, page.token()) as browser,
        ):
            assert (await browser.ask("GET", "/ws", headers=page.origin))[0] == 400
            assert '"free": 4' in (await browser.ask("GET", "/state"))[1]

    asyncio.run(browse())
    assert not caplog.records


@pytest.mark.parametrize(
    ("name", "status"),
    [("127.0.0.1", 200), ("localhost", 200), ("[::1]", 200), ("board.local", 403), ("x.org", 403)],
)
def test_the_open_page_is_served_under_no_name_that_others_can_claim(
    name: str, status: int
) -> None:
    async def browse() -> None:
        async with (
            serving(DashboardServer([], 4), "127.0.0.1", 0) as port,
            aiohttp.ClientSession() as by,
        ):
            here, there = f"http://127.0.0.1:{port}", f"{name}:{port}"
            async with by.get(f"{here}/state", headers={"Host": there}) as answer:
                assert answer.status == status
            headers = {"Host": there, "Origin": f"http://{there}"}
            async with by.get(f"{here}/ws", headers=headers) as answer:
                assert answer.status == (400 if status == 200 else 403)

    asyncio.run(browse())


def test_malformed_requests_to_the_open_page_get_a_status_and_no_traceback(caplog) -> None:
    asked = [
        (b"\x00\xff\x16\x03garbage\r\n\r\n", 400),
        (b"GET / HTTP/9.9\r\n\r\n", 400),
        (b"GET / HTTP/1.1\r\nno colon here\r\n\r\n", 400),
        (b"GET /" + b"a" * 3000 + b" HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n", 414),
        (b"GET /static/" + b"a" * 3000 + b" HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n", 414),
        (b"GET /static/" + b"a/" * 2500 + b" HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n", 400),
        (b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX: " + b"a" * 20_000 + b"\r\n\r\n", 400),
        (b"POST / HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: abc\r\n\r\n", 400),
        (b"POST / HTTP/1.1\r\nContent-Length: " + b"9" * 5000 + b"\r\n\r\n", 400),
        (
            b"POST / HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Encoding: gzip\r\n"
            b"Content-Length: 4\r\n\r\nabcd",
            405,
        ),
        (b"GET http://[ HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n", 400),
        (b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n", 200),
    ]

    async def browse() -> None:
        async with serving(DashboardServer(["false"], 1), "127.0.0.1", 0) as port:
            for request, status in asked:
                reader, writer = await asyncio.open_connection("127.0.0.1", port)
                writer.write(request)
                line = await reader.readline()
                assert int(line.split()[1]) == status, (request[:60], line)
                writer.close()

    asyncio.run(browse())
    assert caplog.text == ""
