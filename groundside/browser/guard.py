"""What holds for every request: whose names are ours, and what a browser is told to keep to."""

import base64
import hashlib
import ipaddress
import re
from collections.abc import Awaitable, Callable
from importlib.resources import files
from typing import Final
from urllib.parse import urlsplit

from aiohttp import web

HEADERS: Final = {
    "Content-Security-Policy": "default-src 'self'; style-src 'self' 'unsafe-inline'; "
    "script-src 'self' 'unsafe-inline'; font-src 'self'; img-src 'self' data:; "
    "connect-src 'self' ws: wss:; frame-ancestors 'none'; base-uri 'none'; form-action 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
}
SAYS_PLACE: Final = "<!-- says -->"
STRANGERS_PAGE: Final = (files("groundside.browser") / "stranger.html").read_text(encoding="utf-8")

Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]


def _inline(tag: str) -> str:
    """Name the page's only script or style by its sum (Content Security Policy, level 2)."""
    found = re.search(f"<{tag}>(.*?)</{tag}>", STRANGERS_PAGE, re.DOTALL)
    text = found.group(1) if found else ""
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


STRANGERS_HEADERS: Final = HEADERS | {
    "Content-Security-Policy": f"default-src 'none'; style-src {_inline('style')}; "
    f"script-src {_inline('script')}; connect-src 'self'; img-src data:; "
    "frame-ancestors 'none'; base-uri 'none'; form-action 'self'",
    # With no-referrer a form's Origin would be null.
    "Referrer-Policy": "same-origin",
}

PATH_MOST: Final = 200


def strangers_page(status: int, says: str = "") -> web.Response:
    """Return the one page that a browser gets which nobody let in.

    Parameters
    ----------
    status
        Of the answer.
    says
        A sentence of ours on top.
    """
    text = f'<p role="alert">{says}</p>' if says else ""
    return web.Response(
        status=status,
        text=STRANGERS_PAGE.replace(SAYS_PLACE, text),
        content_type="text/html",
        headers=STRANGERS_HEADERS,
    )


async def tell_browser(_request: web.Request, answer: web.StreamResponse) -> None:
    """Tell the browser to fetch nothing from outside and to keep nothing; name no version."""
    for name, value in HEADERS.items():
        answer.headers.setdefault(name, value)
    answer.headers.pop("Server", None)


@web.middleware
async def short_paths_only(request: web.Request, handler: Handler) -> web.StreamResponse:
    """Refuse paths that are longer than any of ours: no file system has to look for them."""
    if len(request.path) > PATH_MOST:
        raise web.HTTPRequestURITooLong(text="no page of ours has so long an address\n")
    return await handler(request)


@web.middleware
async def own_names_only(request: web.Request, handler: Handler) -> web.StreamResponse:
    """Refuse names that could be anybody's."""
    if not is_own_name(request.host):
        raise web.HTTPForbidden(text="open this page by its address in numbers\n")
    return await handler(request)


@web.middleware
async def numbers_only(request: web.Request, handler: Handler) -> web.StreamResponse:
    """Refuse all names but `localhost`: for a page that everybody on this machine may use.

    A `.local` name is whoever's answers first. A page of that name, opened in a browser here, could
    have it lead to this machine, and would then be of the same site as ours.
    """
    if not is_own_name(request.host) or is_dot_local(request.host):
        raise web.HTTPForbidden(text="open this page by its address in numbers\n")
    return await handler(request)


def is_dot_local(host: str) -> bool:
    """Return whether a Host header is a name of the local network (RFC 6762).

    Examples
    --------
    >>> [is_dot_local(host) for host in ("board.local:80", "board.local.", "127.0.0.1:80")]
    [True, False, False]
    """
    return (urlsplit(f"//{host}").hostname or "").endswith(".local")


def is_own_name(host: str) -> bool:
    """Whether a Host header can be of this machine: a number, `localhost` or a `.local` name.

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


def same_site(origin: str, host: str, scheme: str = "http") -> bool:
    """Return whether a request was made by a page of ours.

    Examples
    --------
    >>> same_site("http://192.0.2.7:80", "192.0.2.7:80"), same_site("http://else", "192.0.2.7:80")
    (True, False)
    >>> same_site("http://192.0.2.7:80", "192.0.2.7:80", "https")
    False
    """
    try:
        parts = urlsplit(origin)
    except ValueError:
        return False
    return bool(origin) and (parts.scheme, parts.netloc) == (scheme, host)
