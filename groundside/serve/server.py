"""The web server: a page, what the page needs, and a websocket for each viewer."""

import asyncio
import contextlib
import ipaddress
import json
import signal
from collections.abc import Awaitable, Callable, Sequence
from importlib.resources import files
from pathlib import Path
from urllib.parse import urlsplit

import textual_serve
from aiohttp import web

from groundside.serve.viewer import Viewer
from onboard.errors import WattwakeError

HEARTBEAT_S = 5.0
"""A phone that is gone is noticed after one and a half of these [s]."""
LONGEST_MESSAGE_BYTES = 65_536
PAGE = files("groundside.serve") / "page.html"
STATIC = Path(textual_serve.__file__).parent / "static"
HEADERS = {
    "Content-Security-Policy": "default-src 'self'; style-src 'self' 'unsafe-inline'; "
    "script-src 'self' 'unsafe-inline'; font-src 'self'; img-src 'self' data:; "
    "connect-src 'self' ws: wss:; frame-ancestors 'none'; base-uri 'none'; form-action 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
}


class Dashboards:
    """Serves dashboards to browsers.

    Parameters
    ----------
    command
        The command line that runs a dashboard.
    most
        How many viewers there may be at a time.
    """

    def __init__(self, command: Sequence[str], most: int) -> None:
        self._command = list(command)
        self._most = most
        self._open: set[web.WebSocketResponse] = set()

    def app(self) -> web.Application:
        """Make the application."""
        app = web.Application(middlewares=[_guarded])
        app.add_routes(
            [
                web.get("/", _page),
                web.get("/state", self._state),
                web.get("/ws", self._websocket),
                web.static("/static", STATIC),
            ]
        )
        app.on_shutdown.append(self._close_all)
        return app

    async def _state(self, _request: web.Request) -> web.Response:
        text = json.dumps({"free": self._most - len(self._open), "most": self._most})
        return web.Response(text=text, content_type="application/json")

    async def _websocket(self, request: web.Request) -> web.StreamResponse:
        if not same_site(request.headers.get("Origin", ""), request.host):
            raise web.HTTPForbidden(text="this page is not ours\n")
        if len(self._open) >= self._most:
            raise web.HTTPServiceUnavailable(text="all places are taken\n")
        socket = web.WebSocketResponse(heartbeat=HEARTBEAT_S, max_msg_size=LONGEST_MESSAGE_BYTES)
        self._open.add(socket)
        try:
            await socket.prepare(request)
            width, height = (_whole(request.query.get(key)) for key in ("width", "height"))
            await Viewer(self._command, socket).run_for(width or 80, height or 24)
        finally:
            self._open.discard(socket)
            await socket.close()
        return socket

    async def _close_all(self, _app: web.Application) -> None:
        await asyncio.gather(*(socket.close() for socket in set(self._open)))


async def serve(
    dashboards: Dashboards, host: str, port: int, *, ready: Callable[[int], None]
) -> None:
    """Serve until SIGTERM, SIGINT or SIGHUP; all viewers have ended then.

    Parameters
    ----------
    dashboards
        What is served.
    host, port
        Where to listen.
    ready
        Called once it listens, with the port.

    Raises
    ------
    WattwakeError
        If the address cannot be had.
    """
    runner = web.AppRunner(dashboards.app(), access_log=None, shutdown_timeout=1.0)
    await runner.setup()
    try:
        site = web.TCPSite(runner, host, port)
        try:
            await site.start()
        except OSError as problem:
            why = (problem.strerror or str(problem)).lower()
            raise WattwakeError(f"--bind {host}:{port}: {why}") from None
        told = asyncio.Event()
        loop = asyncio.get_running_loop()
        for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
            with contextlib.suppress(ValueError, RuntimeError):  # not in the main thread
                loop.add_signal_handler(number, told.set)
        ready(runner.addresses[0][1])
        await told.wait()
    finally:
        await runner.cleanup()


async def _page(_request: web.Request) -> web.Response:
    return web.Response(text=PAGE.read_text(encoding="utf-8"), content_type="text/html")


@web.middleware
async def _guarded(
    request: web.Request, handler: Callable[[web.Request], Awaitable[web.StreamResponse]]
) -> web.StreamResponse:
    """Refuse names that could be anybody's, and tell the browser to fetch nothing from outside."""
    if not is_own_name(request.host):
        raise web.HTTPForbidden(text="open this page by its address in numbers\n")
    response = await handler(request)
    if not response.prepared:
        response.headers.update(HEADERS)
    return response


def is_own_name(host: str) -> bool:
    """Tell whether a Host header can be of this machine: a number, `localhost` or a `.local` name.

    Any other name may have been pointed at us by a page elsewhere, to read what we serve.

    Examples
    --------
    >>> [is_own_name(host) for host in ("192.0.2.7:80", "[::1]:80", "board.local", "example.org")]
    [True, True, True, False]
    """
    try:
        name = urlsplit(f"//{host}").hostname or ""
    except ValueError:
        return False
    if name == "localhost" or name.endswith(".local"):
        return True
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


def same_site(origin: str, host: str) -> bool:
    """Tell whether a websocket was asked for by a page of ours.

    Examples
    --------
    >>> same_site("http://192.0.2.7:80", "192.0.2.7:80"), same_site("http://else", "192.0.2.7:80")
    (True, False)
    """
    try:
        return bool(origin) and urlsplit(origin).netloc == host
    except ValueError:
        return False


def _whole(text: str | None) -> int:
    return int(text[:6]) if text is not None and text.isascii() and text.isdigit() else 0
