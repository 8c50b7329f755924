"""Places: a dashboard waits a while for its own tab, and in no newcomer's way."""

import asyncio
import json
from pathlib import Path

import aiohttp
import pytest

from groundside.browser.dashboard_process import CLOSE_FAILED, CLOSE_MOVED, CLOSE_QUIT
from tests.groundside.browser.fake_dashboard import (
    COMMAND,
    MODES,
    close_code,
    pid_of,
    read_until,
)
from tests.groundside.browser.open_page import Browser, OpenPage, open_page
from tests.groundside.browser.served import is_there
from tests.onboard.crew.doors import paired_folder
from tests.patience import until_async

pytestmark = pytest.mark.slow

TAB, OTHER, THIRD = "0a" * 16, "0b" * 16, "0c" * 16


async def free(browser: Browser, tab: str = "") -> int:
    return int(json.loads((await browser.ask("GET", f"/state?tab={tab}"))[1])["free"])


async def until_free(browser: Browser, places: int) -> None:
    while await free(browser) != places:
        await asyncio.sleep(0.01)


async def lose(socket: aiohttp.ClientWebSocketResponse, browser: Browser) -> None:
    """Cut a connection without closing it; return once the server has noticed."""
    before = await free(browser)
    assert socket._response.connection is not None  # no public way to cut it
    socket._response.connection.transport.abort()
    await until_free(browser, before + 1)


async def still_shown(browser: Browser, tab: str, pid: int) -> bool:
    """Return whether a tab finds a process again."""
    async with await browser.open_dashboard(tab) as socket:
        await socket.send_json(["stdin", "z"])
        return is_there(pid) and (await read_until(socket, b"got z")).startswith(MODES + b"got ")


def test_turning_back_after_a_lost_link_finds_the_dashboard_as_it_was(tmp_path: Path) -> None:
    async def browse(page: OpenPage, browser: Browser) -> None:
        lost = await browser.open_dashboard(TAB)
        pid = await pid_of(lost)
        await lose(lost, browser)
        assert is_there(pid)
        async with await browser.open_dashboard(TAB) as back:
            await back.send_json(["stdin", "2"])
            seen = await read_until(back, b"got 2")
            # First the terminal's modes, for a page that was reloaded; then size and picture.
            assert seen.startswith(MODES + b"got {") and seen.endswith(b"}got \x0cgot 2")
            size = json.loads(seen[len(MODES + b"got ") : -len(b"got \x0cgot 2")])
            assert (size["type"], size["width"], size["height"]) == ("resize", 40, 40)
            assert await free(browser) == 3

    with_browser(tmp_path, browse)


def with_browser(tmp_path: Path, browse, **options) -> None:
    """Run a coroutine function with an open page and a browser admitted to it."""

    async def run() -> None:
        async with (
            open_page(paired_folder(tmp_path), COMMAND, **options) as page,
            Browser(page, page.token("crew", "phone")) as browser,
        ):
            await browse(page, browser)

    asyncio.run(run())


def test_what_is_drawn_while_nobody_looks_is_dropped_and_blocks_nothing(tmp_path: Path) -> None:
    note = tmp_path / "flooded"

    async def browse(page: OpenPage, browser: Browser) -> None:
        lost = await browser.open_dashboard(TAB)
        await pid_of(lost)
        await lost.send_json(["stdin", "1"])
        await read_until(lost, b"got 1")
        await lost.send_json(["stdin", f"flood {note}"])
        await lose(lost, browser)
        await until_async(note.exists)  # 3 MB into a pipe that holds 64 KiB
        async with await browser.open_dashboard(TAB) as back:
            await back.send_json(["stdin", "2"])
            assert (await read_until(back, b"got 2")).startswith(MODES + b"got ")

    with_browser(tmp_path, browse)


def test_a_half_open_link_is_taken_over_by_its_own_tab(tmp_path: Path) -> None:
    async def browse(page: OpenPage, browser: Browser) -> None:
        old = await browser.open_dashboard(TAB)
        await pid_of(old)
        assert (await free(browser), await free(browser, TAB)) == (0, 1)
        async with await browser.open_dashboard(TAB) as new:
            assert await close_code(old) == CLOSE_MOVED
            await new.send_json(["stdin", "3"])  # the end of the old one has not ended it
            assert (await read_until(new, b"got 3")).startswith(MODES)

    with_browser(tmp_path, browse, most=1)


NO_NAMES = ["", "0A" * 16, "0a" * 15, "0a" * 17, "0a" * 15 + "%0a0", "x" * 32]


@pytest.mark.parametrize("tab", [OTHER, *NO_NAMES])
def test_another_tab_gets_a_dashboard_of_its_own(tmp_path: Path, tab: str) -> None:
    async def browse(page: OpenPage, browser: Browser) -> None:
        lost = await browser.open_dashboard(TAB)
        pid = await pid_of(lost)
        await lose(lost, browser)
        async with await browser.open_dashboard(tab) as other:
            assert await pid_of(other) != pid
        assert await still_shown(browser, TAB, pid)

    with_browser(tmp_path, browse)


@pytest.mark.parametrize("role", ["crew", "viewer"])
def test_another_member_with_the_same_tab_gets_one_of_its_own(tmp_path: Path, role: str) -> None:
    async def browse(page: OpenPage, browser: Browser) -> None:
        lost = await browser.open_dashboard(TAB)
        pid = await pid_of(lost)
        await lose(lost, browser)
        async with (
            Browser(page, page.token(role, "other")) as stranger,
            await stranger.open_dashboard(TAB) as other,
        ):
            assert await pid_of(other) != pid
        assert await still_shown(browser, TAB, pid)

    with_browser(tmp_path, browse)


@pytest.mark.parametrize("tab", NO_NAMES)
def test_a_tab_without_a_proper_name_leaves_nothing_waiting(tmp_path: Path, tab: str) -> None:
    async def browse(page: OpenPage, browser: Browser) -> None:
        socket = await browser.open_dashboard(tab)
        pid = await pid_of(socket)
        await lose(socket, browser)
        async with await browser.open_dashboard(tab) as again:
            assert await pid_of(again) != pid
            await until_async(lambda: not is_there(pid))

    with_browser(tmp_path, browse)


def test_a_dashboard_waits_no_longer_than_said(tmp_path: Path) -> None:
    async def browse(page: OpenPage, browser: Browser) -> None:
        lost = await browser.open_dashboard(TAB)
        pid = await pid_of(lost)
        await lose(lost, browser)
        await until_async(lambda: not is_there(pid))
        async with await browser.open_dashboard(TAB) as back:
            assert await pid_of(back) != pid

    with_browser(tmp_path, browse, waits_s=0.05)


def test_a_dashboard_in_use_does_not_end_when_its_wait_would_have(tmp_path: Path) -> None:
    async def browse(page: OpenPage, browser: Browser) -> None:
        lost = await browser.open_dashboard(TAB)
        pid = await pid_of(lost)
        await lose(lost, browser)
        async with await browser.open_dashboard(TAB):
            await asyncio.sleep(0.6)  # longer than it would have waited
            assert is_there(pid)

    with_browser(tmp_path, browse, waits_s=0.5)


def test_a_newcomer_takes_the_place_of_whoever_has_waited_longest(tmp_path: Path) -> None:
    async def browse(page: OpenPage, browser: Browser) -> None:
        pids = []
        for tab in (TAB, OTHER):
            socket = await browser.open_dashboard(tab)
            pids.append(await pid_of(socket))
            await lose(socket, browser)
        async with await browser.open_dashboard(THIRD) as newcomer:
            await pid_of(newcomer)
            assert list(map(is_there, pids)) == [False, True]
            assert await still_shown(browser, OTHER, pids[1])

    with_browser(tmp_path, browse, most=2)


def test_no_newcomer_takes_a_place_in_use(tmp_path: Path) -> None:
    async def browse(page: OpenPage, browser: Browser) -> None:
        async with await browser.open_dashboard(TAB) as one:
            pid = await pid_of(one)
            with pytest.raises(aiohttp.WSServerHandshakeError) as refused:
                await browser.open_dashboard(OTHER)
            assert (refused.value.status, is_there(pid)) == (503, True)

    with_browser(tmp_path, browse, most=1)


def test_revoking_ends_what_waits_at_once(tmp_path: Path) -> None:
    async def browse(page: OpenPage, browser: Browser) -> None:
        async with Browser(page, page.token("crew", "lost phone")) as revoked:
            socket = await revoked.open_dashboard(TAB)
            pid = await pid_of(socket)
            await lose(socket, browser)
            assert page.book.revoke("lost phone")
            await until_async(lambda: not is_there(pid))

    with_browser(tmp_path, browse, waits_s=3600.0)  # so that it does not end by waiting


def test_what_waits_ends_with_the_server(tmp_path: Path) -> None:
    pids = []

    async def browse(page: OpenPage, browser: Browser) -> None:
        socket = await browser.open_dashboard(TAB)
        pids.append(await pid_of(socket))
        await lose(socket, browser)

    with_browser(tmp_path, browse)
    assert not is_there(pids[0])


@pytest.mark.parametrize(("typed", "code"), [("q", CLOSE_QUIT), ("fail", CLOSE_FAILED)])
def test_a_dashboard_that_has_ended_is_not_waited_for(
    tmp_path: Path, typed: str, code: int
) -> None:
    async def browse(page: OpenPage, browser: Browser) -> None:
        socket = await browser.open_dashboard(TAB)
        pid = await pid_of(socket)
        await socket.send_json(["stdin", typed])
        assert await close_code(socket) == code
        await until_async(lambda: not is_there(pid))
        async with await browser.open_dashboard(TAB) as again:
            assert await pid_of(again) != pid

    with_browser(tmp_path, browse)
