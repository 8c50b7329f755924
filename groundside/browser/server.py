"""The web server: a page, the files it needs, and a websocket for each dashboard."""

import asyncio
import contextlib
import json
import signal
from collections.abc import AsyncIterator, Callable, Sequence
from importlib.resources import files
from pathlib import Path

import textual_serve
from aiohttp import web

from groundside.browser.access import BrowserAccess
from groundside.browser.codes import LOGIN_PATH
from groundside.browser.login_page import MOST_BYTES, log_in, login_page, with_cookie
from groundside.browser.places import TAB, WAITS_S, Places
from groundside.browser.security import (
    Handler,
    add_headers,
    numbers_only,
    own_names_only,
    same_origin,
    short_paths_only,
)
from groundside.browser.server_key import ServerKey
from groundside.browser.tls_listener import SETTINGS, QuietRequestHandler, TlsListener, listen
from onboard.crew.members import VIEWER, Member
from onboard.errors import WattwakeError, cause_of

HEARTBEAT_S = 5.0
"""Interval between websocket pings [s]; a lost phone is noticed after one and a half."""
REVOKED_CHECK_S = 1.0
"""Interval between checks for revoked browsers [s]."""
CLOSE_TIMEOUT_S = 1.0
"""Time for a browser to answer a websocket's close [s]."""
LONGEST_MESSAGE_BYTES = 65_536
PAGE_FOLDER = Path(str(files("groundside.browser"))) / "page"
PAGE = PAGE_FOLDER / "page.html"
STATIC = Path(textual_serve.__file__).parent / "static"


class DashboardServer:
    """Serves dashboards to browsers.

    Parameters
    ----------
    command
        The command line that runs a dashboard.
    most
        Limit on the number of dashboards open at once.
    access
        Access control; None admits everybody, for a page on this machine alone.
    waits_s
        How long a dashboard waits for a tab whose websocket was lost [s].
    """

    def __init__(
        self,
        command: Sequence[str],
        most: int,
        access: BrowserAccess | None = None,
        waits_s: float = WAITS_S,
    ) -> None:
        self._command = list(command)
        self.access = access
        self._places = Places(most, waits_s)

    def app(self) -> web.Application:
        """Return the web application."""
        checks = [numbers_only] if self.access is None else [own_names_only, self._members_only]
        app = web.Application(middlewares=[*checks, short_paths_only], client_max_size=MOST_BYTES)
        app.add_routes(
            [
                web.get("/", self._page),
                web.get("/state", self._state),
                web.get("/ws", self._websocket),
                web.static("/page", PAGE_FOLDER),
                web.static("/static", STATIC),
            ]
        )
        app.on_response_prepare.append(add_headers)
        app.on_shutdown.append(self._close_all)
        return app

    @web.middleware
    async def _members_only(self, request: web.Request, handler: Handler) -> web.StreamResponse:
        """Answer requests without a member's cookie with the login page."""
        assert self.access is not None
        member = self._member(request)
        if member is not None and isinstance(request.protocol, QuietRequestHandler):
            request.protocol.identify()
        if request.path == LOGIN_PATH:
            if request.method == "POST":
                return await log_in(request, self.access, member)
            return login_page(200 if member else 403)
        return login_page(403) if member is None else await handler(request)

    async def _page(self, request: web.Request) -> web.Response:
        page = web.Response(text=PAGE.read_text(encoding="utf-8"), content_type="text/html")
        # Opening the page renews the cookie.
        return page if self.access is None else with_cookie(page, request.cookies)

    def _member(self, request: web.Request) -> Member | None:
        return None if self.access is None else self.access.member_with(request.cookies)

    async def _state(self, request: web.Request) -> web.Response:
        free = self._places.free(self._member(request), _tab(request))
        text = json.dumps({"free": free, "most": self._places.most})
        return web.Response(text=text, content_type="application/json")

    async def _websocket(self, request: web.Request) -> web.StreamResponse:
        scheme = "http" if self.access is None else "https"
        if not same_origin(request.headers.get("Origin", ""), request.host, scheme):
            raise web.HTTPForbidden(text="this page is not ours\n")
        member, tab = self._member(request), _tab(request)
        if self._places.free(member, tab) <= 0:
            raise web.HTTPServiceUnavailable(text="all places are taken\n")
        width, height = (_whole(request.query.get(key)) for key in ("width", "height"))
        socket = web.WebSocketResponse(
            heartbeat=HEARTBEAT_S, max_msg_size=LONGEST_MESSAGE_BYTES, timeout=CLOSE_TIMEOUT_S
        )
        await socket.prepare(request)
        try:
            command = self._command_for(member)
            async with self._places.dashboard_for(member, tab, command) as dashboard:
                if dashboard is not None:  # else somebody took the last place just now
                    await dashboard.show_on(socket, width or 80, height or 24)
        finally:
            await socket.close()
        return socket

    def _command_for(self, member: Member | None) -> list[str]:
        """Return the dashboard's command line; read-only for a member who may only view."""
        read_only = member is not None and member.role == VIEWER
        return [*self._command, *(["--read-only"] if read_only else [])]

    async def close_revoked(self) -> None:
        """End the dashboards of members no longer in the crew, until cancelled."""
        assert self.access is not None
        while True:
            await self._places.end_revoked(self.access.crew().members)
            await asyncio.sleep(REVOKED_CHECK_S)

    async def _close_all(self, _app: web.Application) -> None:
        await self._places.end_all()


async def serve(
    dashboards: DashboardServer, host: str, port: int, *, on_ready: Callable[[int], None]
) -> None:
    """Serve until SIGTERM, SIGINT or SIGHUP; on return all dashboards have ended.

    Parameters
    ----------
    dashboards
        What to serve; encrypted if it has access control.
    host, port
        Address to listen on.
    on_ready
        Called with the port once the server listens.

    Raises
    ------
    WattwakeError
        If the address or the key cannot be used.
    """
    stopped = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
        with contextlib.suppress(ValueError, RuntimeError):  # not in the main thread
            loop.add_signal_handler(number, stopped.set)
    async with serving(dashboards, host, port) as bound:
        on_ready(bound)
        await stopped.wait()


@contextlib.asynccontextmanager
async def serving(dashboards: DashboardServer, host: str, port: int) -> AsyncIterator[int]:
    """Serve while the context is entered; yield the port.

    Raises
    ------
    WattwakeError
        If the address or the key cannot be used.
    """
    runner = web.AppRunner(dashboards.app(), access_log=None, shutdown_timeout=1.0)
    await runner.setup()
    tasks: list[asyncio.Task[None]] = []
    plain: asyncio.Server | None = None
    try:
        try:
            if dashboards.access is None:
                plain = await _listen_plain(runner, host, port)
                bound = int(plain.sockets[0].getsockname()[1])
            else:
                bound, tasks = _listen_encrypted(dashboards, dashboards.access, runner, host, port)
        except OSError as problem:
            raise WattwakeError(f"--bind {host}:{port}: {cause_of(problem)}") from None
        yield bound
    finally:
        for task in tasks:
            task.cancel()
        if plain is not None:
            plain.close()
        await runner.cleanup()
        if tasks:
            await asyncio.wait(tasks)


async def _listen_plain(runner: web.AppRunner, host: str, port: int) -> asyncio.Server:
    """Listen for browsers on this machine."""
    assert runner.server is not None
    loop, web_server = asyncio.get_running_loop(), runner.server
    return await loop.create_server(
        lambda: QuietRequestHandler(web_server, loop=loop, **SETTINGS), host, port
    )


def _listen_encrypted(
    dashboards: DashboardServer, access: BrowserAccess, runner: web.AppRunner, host: str, port: int
) -> tuple[int, list[asyncio.Task[None]]]:
    """Listen for browsers from elsewhere."""
    assert runner.server is not None
    key = ServerKey(access.folder, access.on_key_change)
    listener = listen(host, port)
    tls = TlsListener(runner.server, key.context, access.limits)
    return int(listener.getsockname()[1]), [
        asyncio.create_task(tls.run(listener)),
        asyncio.create_task(dashboards.close_revoked()),
    ]


def _tab(request: web.Request) -> str:
    """Return the name that a tab gave itself; empty if it is not a valid one."""
    tab = request.query.get("tab", "")
    return tab if TAB.fullmatch(tab) else ""


def _whole(text: str | None) -> int:
    return int(text[:6]) if text is not None and text.isascii() and text.isdigit() else 0
