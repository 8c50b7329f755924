"""The first line of a viewer at the encrypted door, and the answers to it.

Parsing is strict: a line with any other key, kind or type is refused without a reason.
"""

import json
from typing import Any, Final

from onboard.contract.codec import as_line, json_line
from onboard.contract.messages import Paired, Role, TurnedAway
from onboard.contract.refusals import Refusal
from onboard.crew.invitation import CODE_BYTES
from onboard.crew.members import good_name
from onboard.dataclass import dataclass

FIRST_LINE_MOST_BYTES: Final = 512
TOKEN_MOST: Final = 100


@dataclass(frozen=True)
class Join:
    """First line of a viewer with a token."""

    token: str

    def as_line(self) -> bytes:
        """Return the line to send."""
        return json_line({"kind": "join", "token": self.token})


@dataclass(frozen=True)
class Pair:
    """First line of a viewer with a code, and its name for itself."""

    code: bytes
    name: str

    def as_line(self) -> bytes:
        """Return the line to send."""
        return json_line({"kind": "pair", "code": self.code.hex(), "name": self.name})


def parse_first(line: bytes) -> Join | Pair | None:
    r"""Parse the first line of a viewer; return None for anything else.

    Examples
    --------
    >>> parse_first(b'{"kind": "join", "token": "abc"}\n')
    Join(token='abc')
    >>> parse_first(b'{"kind": "join", "token": "abc", "more": 1}\n') is None
    True
    """
    if len(line) > FIRST_LINE_MOST_BYTES:
        return None
    try:
        raw = json.loads(line.decode("utf-8"), object_pairs_hook=_unique_keys)
    except (ValueError, RecursionError):
        return None
    if not isinstance(raw, dict):
        return None
    if raw.get("kind") == "join" and set(raw) == {"kind", "token"}:
        token = raw["token"]
        fits = isinstance(token, str) and 0 < len(token) <= TOKEN_MOST and token.isascii()
        return Join(token) if fits else None
    if raw.get("kind") == "pair" and set(raw) == {"kind", "code", "name"}:
        code = _code(raw["code"])
        return Pair(code, raw["name"]) if code is not None and good_name(raw["name"]) else None
    return None


def _code(text: object) -> bytes | None:
    if not isinstance(text, str) or len(text) != 2 * CODE_BYTES or not text.isascii():
        return None
    try:
        code = bytes.fromhex(text)
    except ValueError:
        return None
    return code if len(code) == CODE_BYTES else None


def _unique_keys(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    raw = dict(pairs)
    if len(raw) < len(pairs):
        raise ValueError
    return raw


REFUSED: Final = as_line(TurnedAway())
"""The only answer to a code or token that is wrong, spent or revoked."""


def full_line(why: Refusal) -> bytes:
    """Return the answer to a member for whom there is no room."""
    return as_line(TurnedAway(why))


def paired_line(token: str, name: str, role: Role, craft: str) -> bytes:
    """Return the answer to a valid code: the viewer's token, sent this once."""
    return as_line(Paired(token, name, role, craft))
