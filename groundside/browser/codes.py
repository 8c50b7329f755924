"""Login codes: typed by hand from one screen into another, or carried by a link."""

import base64
import binascii
import re

from onboard.crew.invitation import CODE_BYTES

LOGIN_PATH = "/pair"
_HALF = 5
_LETTERS = 2 * _HALF
"""Base32 (RFC 4648) has five bits per letter, so ten letters for six bytes."""
_PADDING = "=" * 6
_LOOKALIKES = str.maketrans({"0": "O", "1": "I", "8": "B"})
"""Digits that base32 lacks, and the letters they resemble."""


def code_text(code: bytes) -> str:
    """Return a code as letters.

    Examples
    --------
    >>> code_text(bytes(range(6)))
    'AAAQE-AYEAU'
    """
    letters = base64.b32encode(code).decode().rstrip("=")
    return f"{letters[:_HALF]}-{letters[_HALF:]}"


def parse_code(text: str) -> bytes | None:
    """Parse a typed code, ignoring case, spaces and dashes; return None if it is malformed.

    Examples
    --------
    >>> parse_code(" aaaqe ayeau ") == bytes(range(6)), parse_code("AAAQE") is None
    (True, True)
    """
    letters = re.sub(r"[\s-]", "", text[:64]).upper().translate(_LOOKALIKES)
    if len(letters) != _LETTERS or not letters.isascii():
        return None
    try:
        code = base64.b32decode(letters + _PADDING)
    except (binascii.Error, ValueError):
        return None
    return code if len(code) == CODE_BYTES else None


def login_link(page: str, code: bytes) -> str:
    """Return the link that logs a browser in.

    A browser keeps what follows `#` to itself: it appears in no request, log or `Referer`
    (RFC 9110, 4.2.5 and 10.1.3).

    Examples
    --------
    >>> login_link("https://192.0.2.7:27221/", bytes(range(6)))
    'https://192.0.2.7:27221/pair#AAAQE-AYEAU'
    """
    return f"{page.rstrip('/')}{LOGIN_PATH}#{code_text(code)}"
