"""The link and code for a browser, as they stand on the screen where `serve` was started."""

import sys
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

from groundside.browser.codes import code_text, link
from onboard.contract.messages import Role
from onboard.crew.keys import own_fingerprint
from onboard.crew.members import CODE_LASTS_S, CrewBook
from onboard.crew.qr_code import printable_qr_code
from onboard.errors import UsageError

SCHEMA: Final = 1
PAIRS_A_LINE: Final = 16
MAY: Final = {"crew": "look, mark and set targets", "viewer": "look only"}


@dataclass(frozen=True)
class Invite:
    """What lets one browser in.

    Parameters
    ----------
    pages
        The page's addresses, the one for a phone first.
    code
        What is good once.
    role, name
        What it becomes, and what it is called; empty leaves that open.
    """

    pages: tuple[str, ...]
    code: bytes
    role: Role
    name: str

    @classmethod
    def made(cls, book: CrewBook, pages: tuple[str, ...], role: Role, name: str) -> "Invite":
        """Make a code.

        Raises
        ------
        UsageError
            If the crew's file cannot be used.
        """
        return cls(pages, book.invite(role, name), role, name)

    def lines(self) -> list[str]:
        """Return what a person reads, with a QR code (ISO/IEC 18004) where it can be drawn."""
        where = link(self.pages[0], self.code)
        return [
            f"To let one browser in, open this on it within {CODE_LASTS_S / 60:.0f} minutes:",
            "",
            f"  {where}",
            "",
            *printable_qr_code(where),
            f"or type there  {code_text(self.code)}  at {self.pages[0]}",
            f"It may then {MAY[self.role]}. To see who is in: wattwake-onboard pair --list;",
            "to put one out: wattwake-onboard pair --revoke NAME",
        ]

    def as_dict(self, fingerprint: bytes) -> dict[str, Any]:
        """Return the same for other programs."""
        return {
            "schema": SCHEMA,
            "links": [link(page, self.code) for page in self.pages],
            "code": code_text(self.code),
            "role": self.role,
            "name": self.name or None,
            "lasts_s": CODE_LASTS_S,
            "certificate_sha256": fingerprint.hex(),
        }


def fingerprint_lines(fingerprint: bytes) -> list[str]:
    """Write a fingerprint as browsers do, in pairs, two lines of it.

    Examples
    --------
    >>> fingerprint_lines(bytes(range(32)))[0]
    '  00:01:02:03:04:05:06:07:08:09:0A:0B:0C:0D:0E:0F'
    """
    pairs = [f"{byte:02X}" for byte in fingerprint]
    return [
        "  " + ":".join(pairs[begin : begin + PAIRS_A_LINE])
        for begin in range(0, len(pairs), PAIRS_A_LINE)
    ]


def warning_lines(book: CrewBook) -> list[str]:
    """Say what to do about the browser's warning.

    Raises
    ------
    UsageError
        If there is no certificate.
    """
    return [
        "The browser will warn of a certificate that nobody has signed. Before you go on,",
        "compare the certificate's SHA-256 fingerprint: with another than this, somebody",
        "else answers in the craft's place.",
        *fingerprint_lines(own_fingerprint(book.path.parent)),
    ]


def tell(lines: list[str]) -> None:
    """Print lines at once."""
    print(*lines, sep="\n", flush=True)


def tell_invite(make: Callable[[], Invite]) -> None:
    """Make a code and show it, or say why there is none."""
    try:
        tell(["", *make().lines(), "Enter shows another."])
    except UsageError as problem:
        print(f"wattwake-groundside: {problem}", file=sys.stderr, flush=True)
