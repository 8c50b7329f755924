"""The pairing text: the craft's addresses, its certificate's fingerprint and a code for one viewer.

Base32 (RFC 4648) in groups of five, with a checksum, so that it can be typed from a screen:

    1 byte    version (high four bits), number of addresses (low four bits)
    2 bytes   port
    4 bytes   each IPv4 address
    16 bytes  the first half of the SHA-256 of the certificate
    6 bytes   the code
    2 bytes   checksum: the first of the SHA-256 of all before
"""

import base64
import binascii
import hashlib
import ipaddress
import re
from typing import Final

from onboard.dataclass import dataclass
from onboard.errors import UsageError

VERSION: Final = 1
ADDRESSES_MOST: Final = 3
PIN_BYTES: Final = 16
"""First bytes of the fingerprint: finding another certificate with these takes 2^128 tries."""
CODE_BYTES: Final = 6
"""48 bits: in its ten minutes the daemon accepts at most about 1,200 guesses."""
CHECK_BYTES: Final = 2
GROUP: Final = 5
LEAST_LETTERS: Final = 40
"""Shorter than any pairing text, longer than a host name that is typed."""

_TYPED = str.maketrans({"0": "O", "1": "I", "8": "B"})
"""Digits that base32 lacks, mapped to the letters they are mistaken for."""

RETYPE: Final = "type it again, or have the craft make another with: wattwake-onboard pair"


@dataclass(frozen=True)
class Invitation:
    """What a viewer needs to join.

    Parameters
    ----------
    addresses
        IPv4 addresses of the craft.
    port
        Port of its encrypted feed.
    pin
        First bytes of its certificate's fingerprint.
    code
        Valid for joining once.
    """

    addresses: tuple[str, ...]
    port: int
    pin: bytes
    code: bytes

    def as_text(self) -> str:
        """Return the pairing text."""
        places = self.addresses[:ADDRESSES_MOST]
        body = bytes([VERSION << 4 | len(places)]) + self.port.to_bytes(2, "big")
        body += b"".join(ipaddress.IPv4Address(place).packed for place in places)
        body += self.pin + self.code
        letters = base64.b32encode(body + _check(body)).decode().rstrip("=")
        return "-".join(letters[n : n + GROUP] for n in range(0, len(letters), GROUP))


def looks_like_one(text: str) -> bool:
    """Return whether a word is meant to be a pairing text, not a host.

    Examples
    --------
    >>> looks_like_one("192.0.2.7:27222"), looks_like_one("board-in-the-shed.local")
    (False, False)
    """
    letters = _letters(text)
    return len(letters) >= LEAST_LETTERS and re.fullmatch(r"[A-Z0-9]+", letters) is not None


def parse_invitation(text: str) -> Invitation:
    """Read a pairing text as typed: case, spaces and line breaks are ignored.

    Raises
    ------
    UsageError
        If a letter is wrong or missing, or the version is another.

    Examples
    --------
    >>> text = Invitation(("192.0.2.7",), 27222, bytes(16), bytes(6)).as_text()
    >>> text
    'CFVFN-QAAAI-DQAAA-AAAAA-AAAAA-AAAAA-AAAAA-AAAAA-AAAAA-AG5DQ'
    >>> parse_invitation(text.lower()).addresses
    ('192.0.2.7',)
    """
    letters = _letters(text).translate(_TYPED)
    try:
        raw = base64.b32decode(letters + "=" * (-len(letters) % 8))
    except (binascii.Error, ValueError):
        strange = sorted(set(re.sub(r"[A-Z2-7]", "", letters)))
        why = f"{''.join(strange)!r} cannot be in it" if strange else "a letter is missing"
        raise _mistyped(why) from None
    body, check = raw[:-CHECK_BYTES], raw[-CHECK_BYTES:]
    if not body or _check(body) != check:
        raise _mistyped("a letter is wrong or missing")
    count = body[0] & 0xF
    if body[0] >> 4 != VERSION or len(body) != 3 + 4 * count + PIN_BYTES + CODE_BYTES:
        raise UsageError("this pairing text is of another version: install the same on both sides")
    places = body[3 : 3 + 4 * count]
    rest = body[3 + 4 * count :]
    return Invitation(
        tuple(str(ipaddress.IPv4Address(places[n : n + 4])) for n in range(0, len(places), 4)),
        int.from_bytes(body[1:3], "big"),
        rest[:PIN_BYTES],
        rest[PIN_BYTES:],
    )


def _letters(text: str) -> str:
    return re.sub(r"[\s-]", "", text).upper()


def _check(body: bytes) -> bytes:
    return hashlib.sha256(body).digest()[:CHECK_BYTES]


def _mistyped(why: str) -> UsageError:
    return UsageError(f"pairing text: {why}: {RETYPE}")
