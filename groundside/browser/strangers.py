"""How a stranger comes in: what the form on the strangers' page sends, and the cookie for it."""

from collections.abc import Mapping
from typing import Final

from aiohttp import web

from groundside.browser.entry import COOKIE, LASTS_S, Entry, LetIn
from groundside.browser.guard import same_site, strangers_page
from onboard.crew.limits import counted_as
from onboard.crew.members import Member

MOST_BYTES: Final = 1024
"""Of what is sent with a request."""
FORM: Final = "application/x-www-form-urlencoded"

NOT_OURS: Final = "That was not sent by this page. Type the code here:"
WRONG: Final = (
    "That code is not good. Each is good once, for ten minutes: mind the letters, or get another."
)
TOO_MANY: Final = "Too many codes were tried. Wait half a minute, then try again."


async def take_code(request: web.Request, entry: Entry, before: Member | None) -> web.Response:
    """Take what the form sends; a good code is answered with a cookie.

    Parameters
    ----------
    request
        With the form.
    entry
        Who may come in.
    before
        Who the browser is until now.
    """
    if not same_site(request.headers.get("Origin", ""), request.host, "https"):
        return strangers_page(403, NOT_OURS)
    text = await _code_in(request)
    if text is None:
        return strangers_page(400, WRONG)
    became = await entry.redeem(text, _address(request), before)
    if not isinstance(became, LetIn):
        return strangers_page(429, TOO_MANY) if became.too_many else strangers_page(403, WRONG)
    inside = web.Response(status=303, headers={"Location": "/"})
    return with_cookie(inside, {COOKIE: became.token})


async def _code_in(request: web.Request) -> str | None:
    """Read the form's code; None where it is no such form."""
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


def with_cookie(answer: web.Response, cookies: Mapping[str, str]) -> web.Response:
    """Have the browser keep its token, where no script and no other site can use it."""
    answer.set_cookie(
        COOKIE,
        cookies[COOKIE],
        max_age=LASTS_S,
        path="/",
        secure=True,
        httponly=True,
        samesite="Strict",
    )
    return answer
