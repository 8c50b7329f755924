"""Invites: the link and code that log one browser in, as text and as JSON."""

from typing import Any, Final

from groundside.browser.codes import code_text, login_link
from onboard.contract.messages import Role
from onboard.crew.keys import own_fingerprint
from onboard.crew.members import CODE_LASTS_S, CrewBook
from onboard.crew.qr_code import printable_qr_code
from onboard.dataclass import dataclass

SCHEMA: Final = 1
PAIRS_PER_LINE: Final = 16
MAY: Final = {"crew": "look, mark and set targets", "viewer": "look only"}


@dataclass(frozen=True)
class Invite:
    """An invite for one browser.

    Parameters
    ----------
    pages
        The page's addresses, the one for a phone first.
    code
        The single-use code.
    role, name
        The role and name assigned to the browser; an empty name leaves it open.
    """

    pages: tuple[str, ...]
    code: bytes
    role: Role
    name: str

    @classmethod
    def create(cls, book: CrewBook, pages: tuple[str, ...], role: Role, name: str) -> "Invite":
        """Return an invite with a new code.

        Raises
        ------
        UsageError
            If the crew's file cannot be used.
        """
        return cls(pages, book.invite(role, name), role, name)

    def lines(self) -> list[str]:
        """Return the invite as text, with a QR code (ISO/IEC 18004) if it can be printed."""
        link = login_link(self.pages[0], self.code)
        return [
            f"To let one browser in, open this on it within {CODE_LASTS_S / 60:.0f} minutes:",
            "",
            f"  {link}",
            "",
            *printable_qr_code(link),
            f"or type there  {code_text(self.code)}  at {self.pages[0]}",
            f"It may then {MAY[self.role]}. To see who is in: wattwake-onboard pair --list;",
            "to put one out: wattwake-onboard pair --revoke NAME",
        ]

    def as_dict(self, fingerprint: bytes) -> dict[str, Any]:
        """Return the same for other programs."""
        return {
            "schema": SCHEMA,
            "links": [login_link(page, self.code) for page in self.pages],
            "code": code_text(self.code),
            "role": self.role,
            "name": self.name or None,
            "lasts_s": CODE_LASTS_S,
            "certificate_sha256": fingerprint.hex(),
        }


def fingerprint_lines(fingerprint: bytes) -> list[str]:
    """Return a fingerprint as browsers show it: pairs of digits, on two lines.

    Examples
    --------
    >>> fingerprint_lines(bytes(range(32)))[0]
    '  00:01:02:03:04:05:06:07:08:09:0A:0B:0C:0D:0E:0F'
    """
    pairs = [f"{byte:02X}" for byte in fingerprint]
    return [
        "  " + ":".join(pairs[begin : begin + PAIRS_PER_LINE])
        for begin in range(0, len(pairs), PAIRS_PER_LINE)
    ]


def warning_lines(book: CrewBook) -> list[str]:
    """Return instructions for the browser's certificate warning.

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
