"""Security of every request: accepted host names, same-origin checks, response headers."""

import ipaddress
from collections.abc import Awaitable, Callable
from typing import Final
from urllib.parse import urlsplit

from aiohttp import web

HEADERS: Final = {
    "Content-Security-Policy": "default-src 'self'; style-src 'self' 'unsafe-inline'; "
    "script-src 'self'; font-src 'self'; img-src 'self' data:; "
    "connect-src 'self' ws: wss:; frame-ancestors 'none'; base-uri 'none'; form-action 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
}
PATH_MOST: Final = 200

Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]


async def add_headers(_request: web.Request, response: web.StreamResponse) -> None:
    """Forbid the browser to fetch from elsewhere or cache anything; hide the server's version."""
    for name, value in HEADERS.items():
        response.headers.setdefault(name, value)
    response.headers.pop("Server", None)


@web.middleware
async def short_paths_only(request: web.Request, handler: Handler) -> web.StreamResponse:
    """Refuse paths longer than any that is served, before a file system has to resolve them."""
    if len(request.path) > PATH_MOST:
        raise web.HTTPRequestURITooLong(text="no page of ours has so long an address\n")
    return await handler(request)


@web.middleware
async def own_names_only(request: web.Request, handler: Handler) -> web.StreamResponse:
    """Refuse host names that anybody could own."""
    if not is_own_name(request.host):
        raise web.HTTPForbidden(text="open this page by its address in numbers\n")
    return await handler(request)


@web.middleware
async def numbers_only(request: web.Request, handler: Handler) -> web.StreamResponse:
    """Refuse all names but `localhost`, for the page that is open to all on this machine.

    A `.local` name belongs to whoever answers first. A page of that name, opened in a browser here,
    could point the name at this machine and would then have the same origin as this page.
    """
    if not is_own_name(request.host) or is_dot_local(request.host):
        raise web.HTTPForbidden(text="open this page by its address in numbers\n")
    return await handler(request)


def is_dot_local(host: str) -> bool:
    """Return whether a Host header is a `.local` name (RFC 6762).

    Examples
    --------
    >>> [is_dot_local(host) for host in ("board.local:80", "board.local.", "127.0.0.1:80")]
    [True, False, False]
    """
    return (urlsplit(f"//{host}").hostname or "").endswith(".local")


def is_own_name(host: str) -> bool:
    """Return whether a Host header can be this machine's: a number, `localhost`, a `.local` name.

    A foreign page may have pointed any other name here, to read what is served (DNS rebinding).

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


def same_origin(origin: str, host: str, scheme: str = "http") -> bool:
    """Return whether a request was made by a page of this server.

    Examples
    --------
    >>> [same_origin(origin, "192.0.2.7:80") for origin in ("http://192.0.2.7:80", "http://else")]
    [True, False]
    >>> same_origin("http://192.0.2.7:80", "192.0.2.7:80", "https")
    False
    """
    try:
        parts = urlsplit(origin)
    except ValueError:
        return False
    return bool(origin) and (parts.scheme, parts.netloc) == (scheme, host)
