"""The login page, all that a browser without a member's cookie gets, and its form's handler."""

import base64
import hashlib
import re
from collections.abc import Mapping
from importlib.resources import files
from typing import Final

from aiohttp import web

from groundside.browser.access import COOKIE, COOKIE_LIFETIME_S, BrowserAccess, Login
from groundside.browser.security import HEADERS, same_origin
from onboard.crew.limits import counted_as
from onboard.crew.members import Member

MOST_BYTES: Final = 1024
"""Limit on a request's body [bytes]."""
FORM: Final = "application/x-www-form-urlencoded"

NOT_OURS: Final = "That was not sent by this page. Type the code here:"
WRONG: Final = (
    "That code is not good. Each is good once, for ten minutes: mind the letters, or get another."
)
TOO_MANY: Final = "Too many codes were tried. Wait half a minute, then try again."

ALERT_PLACE: Final = "<!-- alert -->"
PAGE: Final = (files("groundside.browser") / "login.html").read_text(encoding="utf-8")


def _hash_of(tag: str) -> str:
    """Return the hash of the page's only script or style (Content Security Policy, level 2)."""
    found = re.search(f"<{tag}>(.*?)</{tag}>", PAGE, re.DOTALL)
    text = found.group(1) if found else ""
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


LOGIN_HEADERS: Final = HEADERS | {
    "Content-Security-Policy": f"default-src 'none'; style-src {_hash_of('style')}; "
    f"script-src {_hash_of('script')}; connect-src 'self'; img-src data:; "
    "frame-ancestors 'none'; base-uri 'none'; form-action 'self'",
    # With no-referrer a form's Origin would be null.
    "Referrer-Policy": "same-origin",
}


def login_page(status: int, alert: str = "") -> web.Response:
    """Return the login page.

    Parameters
    ----------
    status
        HTTP status of the response.
    alert
        A sentence to show above the form; must be trusted text.
    """
    text = f'<p role="alert">{alert}</p>' if alert else ""
    return web.Response(
        status=status,
        text=PAGE.replace(ALERT_PLACE, text),
        content_type="text/html",
        headers=LOGIN_HEADERS,
    )


async def log_in(
    request: web.Request, access: BrowserAccess, before: Member | None
) -> web.Response:
    """Process the form; answer a valid code with a cookie.

    Parameters
    ----------
    request
        The form.
    access
        Redeems the code.
    before
        The browser's membership until now.
    """
    if not same_origin(request.headers.get("Origin", ""), request.host, "https"):
        return login_page(403, NOT_OURS)
    text = await _code_in(request)
    if text is None:
        return login_page(400, WRONG)
    result = await access.redeem(text, _address(request), before)
    if not isinstance(result, Login):
        return login_page(429, TOO_MANY) if result.too_many else login_page(403, WRONG)
    response = web.Response(status=303, headers={"Location": "/"})
    return with_cookie(response, {COOKIE: result.token})


async def _code_in(request: web.Request) -> str | None:
    """Return the form's code, None if the request is not this page's form."""
    if request.content_type != FORM or (request.content_length or 0) > MOST_BYTES:
        return None
    try:
        text = (await request.post()).get("code")
    except (web.HTTPRequestEntityTooLarge, ValueError, LookupError):
        return None
    return text if isinstance(text, str) else None


def _address(request: web.Request) -> str:
    peer = None if request.transport is None else request.transport.get_extra_info("peername")
    return counted_as(peer)


def with_cookie(response: web.Response, cookies: Mapping[str, str]) -> web.Response:
    """Set the token as a cookie that no script and no other site can use."""
    response.set_cookie(
        COOKIE,
        cookies[COOKIE],
        max_age=COOKIE_LIFETIME_S,
        path="/",
        secure=True,
        httponly=True,
        samesite="Strict",
    )
    return response
