"""The web server: a page, what the page needs, and a websocket for each viewer."""

import asyncio
import contextlib
import json
import signal
from collections.abc import AsyncIterator, Callable, Sequence
from importlib.resources import files
from pathlib import Path

import textual_serve
from aiohttp import web

from groundside.browser.codes import PATH
from groundside.browser.entry import Entry
from groundside.browser.guard import (
    Handler,
    numbers_only,
    own_names_only,
    same_site,
    short_paths_only,
    strangers_page,
    tell_browser,
)
from groundside.browser.inlet import SETTINGS, Inlet, Terse, listening
from groundside.browser.key import Key
from groundside.browser.strangers import MOST_BYTES, take_code, with_cookie
from groundside.browser.viewer import PUT_OUT, Viewer
from onboard.crew.members import VIEWER, Member
from onboard.errors import WattwakeError

HEARTBEAT_S = 5.0
"""A phone that is gone is noticed after one and a half of these [s]."""
LOOK_S = 1.0
"""How often it is looked who was revoked [s]."""
CLOSE_S = 1.0
"""A browser that is put out has this for its last word [s]."""
LONGEST_MESSAGE_BYTES = 65_536
PAGE = files("groundside.browser") / "page.html"
STATIC = Path(textual_serve.__file__).parent / "static"


class Dashboards:
    """Serves dashboards to browsers.

    Parameters
    ----------
    command
        The command line that runs a dashboard.
    most
        How many viewers there may be at a time.
    entry
        Who may come in; None lets in everybody, which is for this machine alone.
    """

    def __init__(self, command: Sequence[str], most: int, entry: Entry | None = None) -> None:
        self._command = list(command)
        self._most = most
        self.entry = entry
        self._open: dict[web.WebSocketResponse, Member | None] = {}

    def app(self) -> web.Application:
        """Make the application."""
        checks = [numbers_only] if self.entry is None else [own_names_only, self._members_only]
        app = web.Application(middlewares=[*checks, short_paths_only], client_max_size=MOST_BYTES)
        app.add_routes(
            [
                web.get("/", self._page),
                web.get("/state", self._state),
                web.get("/ws", self._websocket),
                web.static("/static", STATIC),
            ]
        )
        app.on_response_prepare.append(tell_browser)
        app.on_shutdown.append(self._close_all)
        return app

    @web.middleware
    async def _members_only(self, request: web.Request, handler: Handler) -> web.StreamResponse:
        """Let nobody further than the strangers' page whom no cookie names."""
        assert self.entry is not None
        member = self._member(request)
        if member is not None and isinstance(request.protocol, Terse):
            request.protocol.is_of_a_member()
        if request.path == PATH:
            if request.method == "POST":
                return await take_code(request, self.entry, member)
            return strangers_page(200 if member else 403)
        return strangers_page(403) if member is None else await handler(request)

    async def _page(self, request: web.Request) -> web.Response:
        page = web.Response(text=PAGE.read_text(encoding="utf-8"), content_type="text/html")
        # A browser keeps the cookie for as long again.
        return page if self.entry is None else with_cookie(page, request.cookies)

    def _member(self, request: web.Request) -> Member | None:
        return None if self.entry is None else self.entry.member_with(request.cookies)

    def _free(self, member: Member | None) -> int:
        """Return how many places there are; the last is not for those who look only."""
        kept = 1 if member is not None and member.role == VIEWER and self._most > 1 else 0
        return max(self._most - kept - len(self._open), 0)

    async def _state(self, request: web.Request) -> web.Response:
        text = json.dumps({"free": self._free(self._member(request)), "most": self._most})
        return web.Response(text=text, content_type="application/json")

    async def _websocket(self, request: web.Request) -> web.StreamResponse:
        scheme = "http" if self.entry is None else "https"
        if not same_site(request.headers.get("Origin", ""), request.host, scheme):
            raise web.HTTPForbidden(text="this page is not ours\n")
        member = self._member(request)
        if self._free(member) <= 0:
            raise web.HTTPServiceUnavailable(text="all places are taken\n")
        socket = web.WebSocketResponse(
            heartbeat=HEARTBEAT_S, max_msg_size=LONGEST_MESSAGE_BYTES, timeout=CLOSE_S
        )
        self._open[socket] = member
        try:
            await socket.prepare(request)
            width, height = (_whole(request.query.get(key)) for key in ("width", "height"))
            viewer = Viewer(self._command_for(member), socket)
            await viewer.run_for(width or 80, height or 24)
        finally:
            self._open.pop(socket, None)
            if socket.prepared:  # else it asked for no websocket
                await socket.close()
        return socket

    def _command_for(self, member: Member | None) -> list[str]:
        """Return the dashboard's command line; who looks only is given one that cannot speak."""
        looks_only = member is not None and member.role == VIEWER
        return [*self._command, *(["--read-only"] if looks_only else [])]

    async def put_out_revoked(self) -> None:
        """Close what belongs to those whom the crew no longer names, until this is cancelled."""
        assert self.entry is not None
        while True:
            members = self.entry.crew().members
            revoked = [
                socket
                for socket, member in self._open.items()
                if member not in members and socket.prepared
            ]
            await asyncio.gather(*(socket.close(code=PUT_OUT) for socket in revoked))
            await asyncio.sleep(LOOK_S)

    async def _close_all(self, _app: web.Application) -> None:
        await asyncio.gather(*(socket.close() for socket in list(self._open)))


async def serve(
    dashboards: Dashboards, host: str, port: int, *, ready: Callable[[int], None]
) -> None:
    """Serve until SIGTERM, SIGINT or SIGHUP; all viewers have ended then.

    Parameters
    ----------
    dashboards
        What is served; encrypted where it is not for everybody.
    host, port
        Where to listen.
    ready
        Called once it listens, with the port.

    Raises
    ------
    WattwakeError
        If the address cannot be had, or the key not be used.
    """
    told = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
        with contextlib.suppress(ValueError, RuntimeError):  # not in the main thread
            loop.add_signal_handler(number, told.set)
    async with serving(dashboards, host, port) as bound:
        ready(bound)
        await told.wait()


@contextlib.asynccontextmanager
async def serving(dashboards: Dashboards, host: str, port: int) -> AsyncIterator[int]:
    """Serve for as long as the context lasts; gives the port.

    Raises
    ------
    WattwakeError
        If the address cannot be had, or the key not be used.
    """
    runner = web.AppRunner(dashboards.app(), access_log=None, shutdown_timeout=1.0)
    await runner.setup()
    beside: list[asyncio.Task[None]] = []
    plain: asyncio.Server | None = None
    try:
        try:
            if dashboards.entry is None:
                plain = await _plain(runner, host, port)
                bound = int(plain.sockets[0].getsockname()[1])
            else:
                bound, beside = _encrypted(dashboards, dashboards.entry, runner, host, port)
        except OSError as problem:
            why = (problem.strerror or str(problem)).lower()
            raise WattwakeError(f"--bind {host}:{port}: {why}") from None
        yield bound
    finally:
        for task in beside:
            task.cancel()
        if plain is not None:
            plain.close()
        await runner.cleanup()
        if beside:
            await asyncio.wait(beside)


async def _plain(runner: web.AppRunner, host: str, port: int) -> asyncio.Server:
    """Listen for browsers on this machine."""
    assert runner.server is not None
    loop, web_server = asyncio.get_running_loop(), runner.server
    return await loop.create_server(lambda: Terse(web_server, loop=loop, **SETTINGS), host, port)


def _encrypted(
    dashboards: Dashboards, entry: Entry, runner: web.AppRunner, host: str, port: int
) -> tuple[int, list[asyncio.Task[None]]]:
    """Listen for browsers from elsewhere."""
    assert runner.server is not None
    key = Key(entry.folder, entry.key_changed)
    inlet = Inlet(runner.server, key.context, entry.limits)
    inlet_socket = listening(host, port)
    return int(inlet_socket.getsockname()[1]), [
        asyncio.create_task(inlet.run(inlet_socket)),
        asyncio.create_task(dashboards.put_out_revoked()),
    ]


def _whole(text: str | None) -> int:
    return int(text[:6]) if text is not None and text.isascii() and text.isdigit() else 0
