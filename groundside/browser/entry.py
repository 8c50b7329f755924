"""Who a browser is: a code, once, becomes a cookie, and the cookie a member of the crew.

The cookie is a token like any other viewer's: random, kept as its sum only, listed and revoked by
`pair`.
"""

import asyncio
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from groundside.browser.codes import parse_code
from onboard.crew.joining import TOKEN_MOST
from onboard.crew.limits import Limits
from onboard.crew.members import Crew, CrewBook, Member
from onboard.errors import UsageError

COOKIE: Final = "__Host-wattwake"
"""Browsers hold a cookie of this prefix to be Secure, for `/`, and of this host (RFC 6265bis)."""
LASTS_S: Final = 400 * 86_400
"""Longer than browsers keep any (RFC 6265bis); renewed whenever the page is opened."""
BROWSER: Final = "browser"
"""What a browser is called where the code has no name for it."""


@dataclass(frozen=True)
class LetIn:
    """A browser that came in: who it is from now on, and its token."""

    member: Member
    token: str


@dataclass(frozen=True)
class NotLetIn:
    """A browser that did not: the code was wrong, or too many were tried."""

    too_many: bool


class Entry:
    """Knows browsers by their cookies, and lets new ones in by their codes.

    Parameters
    ----------
    folder
        The pairing's folder, with its key.
    came
        Told who came in.
    limits
        Keeps account of addresses.
    key_changed
        Told when the key was replaced or taken away.
    """

    def __init__(
        self,
        folder: Path,
        came: Callable[[Member], None] = lambda _: None,
        limits: Limits | None = None,
        key_changed: Callable[[], None] = lambda: None,
    ) -> None:
        self.folder = folder
        self.book = CrewBook(folder)
        self.limits = limits or Limits()
        self.key_changed = key_changed
        self._came = came
        self._crew = Crew()
        self._stamp: object = ()

    def crew(self) -> Crew:
        """Return the crew as its file has it now; as it last had it where that cannot be used."""
        stamp = self.book.stamp()
        if stamp != self._stamp:
            self._stamp = stamp
            try:
                self._crew = self.book.read()
            except UsageError as problem:
                print(f"wattwake-groundside: {problem}", file=sys.stderr, flush=True)
        return self._crew

    def member_with(self, cookies: Mapping[str, str]) -> Member | None:
        """Return the member that a browser's cookies name, None where it is nobody."""
        token = cookies.get(COOKIE, "")
        if not 0 < len(token) <= TOKEN_MOST or not token.isascii():
            return None
        return self.crew().member_with(token)

    async def redeem(self, text: str, address: str, before: Member | None) -> LetIn | NotLetIn:
        """Spend a code.

        Parameters
        ----------
        text
            The code as it was typed.
        address
            What account is kept of.
        before
            Who the browser was until now; that is over where the code is good.
        """
        clock = asyncio.get_running_loop().time
        if not self.limits.may_try(address, clock()):
            return NotLetIn(too_many=True)
        code = parse_code(text)
        # On a card it may take a while until it is written.
        made = None if code is None else await asyncio.to_thread(self._spend, code, before)
        if made is None:
            self.limits.wrong(address, clock())
            return NotLetIn(too_many=False)
        self._came(made.member)
        return made

    def _spend(self, code: bytes, before: Member | None) -> LetIn | None:
        try:
            made = self.book.redeem(code, BROWSER)
            if made is not None and before is not None:
                self.book.revoke(before.name)
        except UsageError as problem:
            print(f"wattwake-groundside: {problem}", file=sys.stderr, flush=True)
            return None
        return None if made is None else LetIn(*made)
