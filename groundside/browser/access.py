"""Browser access: a code is exchanged once for a cookie, and the cookie names a crew member.

The cookie is a token like any other viewer's: random, stored as a hash only, listed and revoked by
`pair`.
"""

import asyncio
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Final

from groundside.browser.codes import parse_code
from onboard.crew.joining import TOKEN_MOST
from onboard.crew.limits import Limits
from onboard.crew.members import Crew, CrewBook, Member
from onboard.dataclass import dataclass
from onboard.errors import UsageError

COOKIE: Final = "__Host-wattwake"
"""With this prefix browsers require it to be Secure, for path `/` and this host (RFC 6265bis)."""
COOKIE_LIFETIME_S: Final = 400 * 86_400
"""The longest that browsers allow (RFC 6265bis) [s]; renewed whenever the page is opened."""
DEFAULT_NAME: Final = "browser"
"""Name of a browser whose code assigns none."""


@dataclass(frozen=True)
class Login:
    """A successful login: the browser's membership from now on, and its token."""

    member: Member
    token: str


@dataclass(frozen=True)
class LoginRefused:
    """A failed login: the code was wrong, or too many were tried."""

    too_many: bool


class BrowserAccess:
    """Recognizes browsers by their cookies, and logs in new ones by their codes.

    Parameters
    ----------
    folder
        The pairing's folder, with its key.
    on_login
        Called with each new member.
    limits
        Rate limits for each address.
    on_key_change
        Called when the key has been replaced or removed.
    """

    def __init__(
        self,
        folder: Path,
        on_login: Callable[[Member], None] = lambda _: None,
        limits: Limits | None = None,
        on_key_change: Callable[[], None] = lambda: None,
    ) -> None:
        self.folder = folder
        self.book = CrewBook(folder)
        self.limits = limits or Limits()
        self.on_key_change = on_key_change
        self._on_login = on_login
        self._crew = Crew()
        self._stamp: object = ()

    def crew(self) -> Crew:
        """Return the crew as currently in its file, or as last read if the file is unusable."""
        stamp = self.book.stamp()
        if stamp != self._stamp:
            self._stamp = stamp
            try:
                self._crew = self.book.read()
            except UsageError as problem:
                print(f"wattwake-groundside: {problem}", file=sys.stderr, flush=True)
        return self._crew

    def member_with(self, cookies: Mapping[str, str]) -> Member | None:
        """Return the member that a browser's cookies name, or None."""
        token = cookies.get(COOKIE, "")
        if not 0 < len(token) <= TOKEN_MOST or not token.isascii():
            return None
        return self.crew().member_with(token)

    async def redeem(self, text: str, address: str, before: Member | None) -> Login | LoginRefused:
        """Redeem a code.

        Parameters
        ----------
        text
            The code as typed.
        address
            Client address, for counting attempts.
        before
            The browser's membership until now; a valid code ends it.
        """
        clock = asyncio.get_running_loop().time
        if not self.limits.may_try(address, clock()):
            return LoginRefused(too_many=True)
        code = parse_code(text)
        # Writing to an SD card may take a while.
        login = None if code is None else await asyncio.to_thread(self._redeem, code, before)
        if login is None:
            self.limits.wrong(address, clock())
            return LoginRefused(too_many=False)
        self._on_login(login.member)
        return login

    def _redeem(self, code: bytes, before: Member | None) -> Login | None:
        try:
            redeemed = self.book.redeem(code, DEFAULT_NAME)
            if redeemed is not None and before is not None:
                self.book.revoke(before.name)
        except UsageError as problem:
            print(f"wattwake-groundside: {problem}", file=sys.stderr, flush=True)
            return None
        return None if redeemed is None else Login(*redeemed)
