"""A code as a person types it from one screen into another, and as a link carries it."""

import base64
import binascii
import re

from onboard.crew.invitation import CODE_BYTES

PATH = "/pair"
_HALF = 5
_LETTERS = 2 * _HALF
"""Base32 (RFC 4648) has five bits a letter: ten for six bytes."""
_PADDING = "=" * 6
_TYPED = str.maketrans({"0": "O", "1": "I", "8": "B"})
"""Figures that base32 does not have, as what they look like."""


def code_text(code: bytes) -> str:
    """Write a code in letters.

    Examples
    --------
    >>> code_text(bytes(range(6)))
    'AAAQE-AYEAU'
    """
    letters = base64.b32encode(code).decode().rstrip("=")
    return f"{letters[:_HALF]}-{letters[_HALF:]}"


def parse_code(text: str) -> bytes | None:
    """Read a code as it was typed: small letters, spaces and dashes do not matter.

    Examples
    --------
    >>> parse_code(" aaaqe ayeau ") == bytes(range(6)), parse_code("AAAQE") is None
    (True, True)
    """
    letters = re.sub(r"[\s-]", "", text[:64]).upper().translate(_TYPED)
    if len(letters) != _LETTERS or not letters.isascii():
        return None
    try:
        code = base64.b32decode(letters + _PADDING)
    except (binascii.Error, ValueError):
        return None
    return code if len(code) == CODE_BYTES else None


def link(page: str, code: bytes) -> str:
    """Return the link that lets a browser in.

    Behind `#` a browser keeps it to itself: it stands in no request, no log and no `Referer`
    (RFC 9110, 4.2.5 and 10.1.3).

    Examples
    --------
    >>> link("https://192.0.2.7:27221/", bytes(range(6)))
    'https://192.0.2.7:27221/pair#AAAQE-AYEAU'
    """
    return f"{page.rstrip('/')}{PATH}#{code_text(code)}"
