"""Limits on strangers' connections to the page, which do not affect members."""

import asyncio
import contextlib
import socket
import time
from pathlib import Path

import aiohttp
import pytest

from groundside.browser import tls_listener
from onboard.crew import limits
from onboard.crew.limits import Limits
from tests.groundside.browser.open_page import (
    Browser,
    OpenPage,
    RecordedStart,
    alert_of,
    open_page,
    tls,
)
from tests.onboard.crew.doors import paired_folder
from tests.patience import PATIENCE_S

pytestmark = pytest.mark.slow


class AllConnections(Limits):
    """Admits every connection, to test the limits that come after."""

    def come(self, _address: str, _now_s: float) -> bool:
        return True

    def known(self, _address: str) -> None:
        """Nothing waits."""


def test_wrong_codes_of_one_address_are_limited(tmp_path: Path) -> None:
    async def browse() -> None:
        async with (
            open_page(paired_folder(tmp_path), [], limits=AllConnections()) as page,
            Browser(page, source="127.0.0.3") as guesser,
            Browser(page, source="127.0.0.4") as owner,
        ):
            right = page.code()
            begun_s = time.monotonic()
            wrong = [await guesser.type_code("AAAAA-AAAAA") for _ in range(30)]
            statuses = [status for status, _, _ in wrong]
            passed_s = time.monotonic() - begun_s
            evaluated = statuses.count(403)
            assert evaluated >= limits.WRONG_BURST
            assert evaluated <= limits.WRONG_BURST + passed_s * limits.WRONG_PER_S + 1
            assert set(statuses) == {403, 429}
            assert alert_of(wrong[0][1]).startswith("That code is not good")
            assert alert_of(wrong[-1][1]).startswith("Too many codes")
            # Not even the right code is accepted, or a difference would help guessing.
            assert (await guesser.type_code(right))[0] == 429
            assert (await owner.type_code(right))[0] == 303

    asyncio.run(browse())


def test_malformed_codes_count_too(tmp_path: Path) -> None:
    async def browse() -> None:
        async with (
            open_page(paired_folder(tmp_path), [], limits=AllConnections()) as page,
            Browser(page) as guesser,
        ):
            statuses = [(await guesser.type_code("?" * n))[0] for n in range(20)]
            assert statuses[0] == 403 and statuses[-1] == 429

    asyncio.run(browse())


def test_wrong_codes_of_all_addresses_are_limited_and_members_still_get_in(tmp_path: Path) -> None:
    async def browse() -> None:
        async with open_page(paired_folder(tmp_path), [], limits=AllConnections()) as page:
            statuses = []
            begun_s = time.monotonic()
            for last in range(10, 20):
                async with Browser(page, source=f"127.0.0.{last}") as guesser:
                    statuses += [(await guesser.type_code("AAAAA-AAAAA"))[0] for _ in range(5)]
            passed_s = time.monotonic() - begun_s
            most = limits.CODES_BURST + passed_s * limits.CODES_PER_S + 1
            assert limits.CODES_BURST <= statuses.count(403) <= most < 50
            async with Browser(page, page.token()) as member:
                assert (await member.ask("GET", "/state"))[0] == 200

    asyncio.run(browse())


def test_a_good_code_does_not_count_against_its_address(tmp_path: Path) -> None:
    async def browse() -> None:
        async with (
            open_page(paired_folder(tmp_path), [], limits=AllConnections()) as page,
            Browser(page) as browser,
        ):
            for _ in range(15):
                assert (await browser.type_code(page.code()))[0] == 303

    asyncio.run(browse())


async def ended(reader: asyncio.StreamReader, within_s: float) -> bool:
    """Return whether the other end closes the connection in time."""
    with contextlib.suppress(ConnectionError):
        try:
            async with asyncio.timeout(within_s):
                while await reader.read(65536):
                    pass
        except TimeoutError:
            return False
    return True


SLOW = (
    "",
    "GET / HTTP/1.1\r\nHost: {host}\r\n",
    "GET / HTTP/1.1\r\nHost: {host}\r\n\r\n",
    "POST /pair HTTP/1.1\r\nHost: {host}\r\nOrigin: https://{host}\r\nContent-Length: 100\r\n"
    "Content-Type: application/x-www-form-urlencoded\r\n\r\ncode=A",
    "PUT /x HTTP/1.1\r\nHost: {host}\r\nTransfer-Encoding: chunked\r\n\r\n",
)


@pytest.mark.parametrize("text", SLOW)
def test_a_connection_that_names_no_member_is_closed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, text: str
) -> None:
    monkeypatch.setattr(tls_listener, "IDENTIFY_TIMEOUT_S", 0.6)

    async def browse() -> None:
        async with open_page(paired_folder(tmp_path), []) as page:
            reader, writer = await asyncio.open_connection(
                "127.0.0.1", page.port, ssl=tls(), server_hostname=""
            )
            writer.write(text.format(host=page.host).encode())
            assert await ended(reader, PATIENCE_S)
            writer.transport.abort()
            await asyncio.sleep(0.05)

    asyncio.run(browse())


def test_a_connection_without_a_handshake_is_closed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tls_listener, "HANDSHAKE_TIMEOUT_S", 0.5)

    async def browse() -> None:
        async with open_page(paired_folder(tmp_path), []) as page:
            reader, writer = await asyncio.open_connection("127.0.0.1", page.port)
            assert await ended(reader, PATIENCE_S)
            writer.close()

    asyncio.run(browse())


def test_an_open_dashboard_outlasts_the_time_limit_for_identifying(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tls_listener, "IDENTIFY_TIMEOUT_S", 0.5)
    started = RecordedStart(tmp_path)

    async def browse() -> None:
        async with (
            open_page(paired_folder(tmp_path), started.command) as page,
            Browser(page, page.token()) as member,
        ):
            socket = await member.open_dashboard()
            with pytest.raises(TimeoutError):
                await socket.receive(timeout=1.5)
            await socket.close()

    asyncio.run(browse())


async def gets_state(member: Browser) -> bool:
    try:
        return (await member.ask("GET", "/state"))[0] == 200
    except aiohttp.ClientError:  # not accepted yet
        return False


async def silent(page: OpenPage, source: str) -> asyncio.StreamWriter:
    _, writer = await asyncio.open_connection("127.0.0.1", page.port, local_addr=(source, 0))
    return writer


def test_idle_connections_of_strangers_keep_no_member_out(tmp_path: Path) -> None:
    started = RecordedStart(tmp_path)

    async def browse() -> None:
        async with open_page(paired_folder(tmp_path), started.command) as page:
            idle = [await silent(page, "127.0.0.9") for _ in range(40)]
            await asyncio.sleep(0.3)
            async with Browser(page, page.token(), source="127.0.0.10") as member:
                assert (await member.ask("GET", "/state"))[0] == 200
                socket = await member.open_dashboard()
                await started.wait_for(1)
                await socket.close()
            # The flooding address itself gets no further connection.
            async with Browser(page, page.token("crew", "x"), source="127.0.0.9") as same:
                with pytest.raises(aiohttp.ClientError):
                    await same.ask("GET", "/state")
            for one in idle:
                one.transport.abort()
            await asyncio.sleep(0.05)

    asyncio.run(browse())


def test_closed_connections_do_not_count(tmp_path: Path) -> None:
    async def browse() -> None:
        async with open_page(paired_folder(tmp_path), []) as page:
            token = page.token()
            for n in range(2 * limits.WAITING_MOST_EACH):
                async with Browser(page, token if n % 2 else "") as browser:
                    assert (await browser.ask("GET", "/state"))[0] == (200 if n % 2 else 403)

    asyncio.run(browse())


def test_oversized_requests_are_not_read(tmp_path: Path) -> None:
    async def browse() -> None:
        async with (
            open_page(paired_folder(tmp_path), []) as page,
            Browser(page) as browser,
        ):
            code = page.code()
            form = {"Content-Type": "application/x-www-form-urlencoded"} | page.origin
            more = {"data": f"code={code}&more=" + "x" * 4096, "headers": form}
            status, _, headers = await browser.ask("POST", "/pair", **more)
            assert status == 400 and "Set-Cookie" not in headers

            async def drip() -> object:
                yield f"code={code}&more=".encode()
                for _ in range(40):
                    yield b"x" * 100

            status, _, headers = await browser.ask("POST", "/pair", data=drip(), headers=form)
            assert status == 400 and "Set-Cookie" not in headers
            for large in ({"X-A": "b" * 5000}, {f"X-{n}": "b" for n in range(200)}):
                with contextlib.suppress(aiohttp.ClientError):
                    assert (await browser.ask("GET", "/", headers=large))[0] == 400
            with contextlib.suppress(aiohttp.ClientError):
                assert (await browser.ask("GET", "/" + "x" * 5000))[0] == 400
            assert len(page.book.waiting()) == 1

    asyncio.run(browse())


def test_the_number_of_connections_is_limited(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tls_listener, "CONNECTIONS_MOST", 5)

    async def browse() -> None:
        async with open_page(paired_folder(tmp_path), []) as page:
            idle = [await silent(page, f"127.0.0.{n}") for n in range(20, 25)]
            await asyncio.sleep(0.1)
            async with Browser(page, page.token()) as member:
                with pytest.raises(aiohttp.ClientError):
                    await member.ask("GET", "/state")
                for one in idle:
                    one.transport.abort()
                async with asyncio.timeout(PATIENCE_S):
                    while not (await gets_state(member)):
                        await asyncio.sleep(0.02)

    asyncio.run(browse())


@pytest.mark.skipif(not socket.has_dualstack_ipv6(), reason="this machine has one kind only")
def test_all_ipv6_addresses_include_those_of_ipv4() -> None:
    with tls_listener.listen("::", 0) as both:
        socket.create_connection(("127.0.0.1", both.getsockname()[1]), PATIENCE_S).close()
