"""The crew: viewers that joined, their roles, and the codes that are still valid.

Secrets are stored as SHA-256 only: tokens and codes are random and long, so the digests cannot be
inverted by guessing. The file is replaced whole, under a lock that the daemon and `pair` share.
"""

import contextlib
import hashlib
import hmac
import json
import secrets
import time
from collections.abc import Callable
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any, Final

from onboard.contract.messages import Role
from onboard.crew.invitation import CODE_BYTES
from onboard.crew.lock import locked
from onboard.dataclass import dataclass
from onboard.errors import UsageError, cause_of
from onboard.files.whole_file import write_whole

CREW_NAME: Final = "crew.json"
SCHEMA: Final = 1
MOST_BYTES: Final = 1 << 20

VIEWER: Final = "viewer"
CREW: Final = "crew"
ROLES: Final[tuple[Role, ...]] = (CREW, VIEWER)

TOKEN_BYTES: Final = 32
CODE_LASTS_S: Final = 600.0
NAME_MOST: Final = 40
MEMBERS_MOST: Final = 200
CODES_MOST: Final = 20


@dataclass(frozen=True)
class Member:
    """A viewer that joined.

    Parameters
    ----------
    name
        Name that the owner revokes it by.
    role
        `crew` reads and sends commands, `viewer` only reads.
    token_sha256
        SHA-256 of its token, hexadecimal.
    """

    name: str
    role: Role
    token_sha256: str


@dataclass(frozen=True)
class PairingCode:
    """An unused code.

    Parameters
    ----------
    code_sha256
        SHA-256 of the code, hexadecimal.
    role
        Role the viewer will have.
    name
        Name the viewer will have; empty takes its own.
    made_s
        When it was created [s since the board started].
    boot
        Identifies that boot of the board.
    """

    code_sha256: str
    role: Role
    name: str
    made_s: float
    boot: str


@dataclass(frozen=True)
class Crew:
    """Members, and codes to become one."""

    members: tuple[Member, ...] = ()
    codes: tuple[PairingCode, ...] = ()

    def member_with(self, token: str) -> Member | None:
        """Return the member with a token, None if there is none."""
        found = None
        given = _digest(token.encode())
        for member in self.members:
            # No early exit: the time taken reveals nothing.
            if hmac.compare_digest(member.token_sha256, given):
                found = member
        return found

    def code_with(self, code: bytes, now_s: float, boot: str) -> PairingCode | None:
        """Return the entry of a valid code, None if it is unknown, used or lapsed."""
        found = None
        given = _digest(code)
        for pending in self.codes:
            if hmac.compare_digest(pending.code_sha256, given) and _is_valid(pending, now_s, boot):
                found = pending
        return found


def _boot_id() -> str:
    with contextlib.suppress(OSError):
        return Path("/proc/sys/kernel/random/boot_id").read_text(encoding="ascii").strip()
    return ""


@dataclass(frozen=True)
class BoardTime:
    """Time since the board started [s], and an id of that boot; needs no time of day."""

    now_s: Callable[[], float] = lambda: time.clock_gettime(time.CLOCK_BOOTTIME)
    boot: Callable[[], str] = _boot_id


def _digest(secret: bytes) -> str:
    return hashlib.sha256(secret).hexdigest()


def _is_valid(code: PairingCode, now_s: float, boot: str) -> bool:
    return code.boot == boot and 0.0 <= now_s - code.made_s < CODE_LASTS_S


def good_name(name: object) -> bool:
    """Return whether a value can be a viewer's name: short, printable, no space at the ends."""
    return (
        isinstance(name, str)
        and 0 < len(name) <= NAME_MOST
        and name.isprintable()
        and name == name.strip()
    )


class CrewBook:
    """The crew's file.

    Parameters
    ----------
    folder
        The pairing's folder, which must exist.
    board
        Clock by which codes lapse.
    """

    def __init__(self, folder: Path, board: BoardTime | None = None) -> None:
        self._folder = folder
        self._board = board or BoardTime()

    @property
    def path(self) -> Path:
        """Path of the file."""
        return self._folder / CREW_NAME

    def stamp(self) -> tuple[int, int, int] | None:
        """Return a stamp that changes whenever the file is replaced; None without a file."""
        try:
            status = self.path.stat()
        except OSError:
            return None
        return status.st_ino, status.st_mtime_ns, status.st_size

    def read(self) -> Crew:
        """Read the crew, empty if there is no file yet.

        Raises
        ------
        UsageError
            If the file exists and cannot be used: then no viewer may join.
        """
        try:
            if self.path.stat().st_size > MOST_BYTES:
                raise ValueError
            raw = json.loads(self.path.read_text(encoding="utf-8"))
            return _crew_from(raw)
        except FileNotFoundError:
            return Crew()
        except (OSError, ValueError, TypeError, KeyError, RecursionError):
            raise UsageError(
                f"{self.path}: cannot be used: mend its owner, or delete it and pair all anew"
            ) from None

    def invite(self, role: Role, name: str = "") -> bytes:
        """Create a code for one viewer.

        Raises
        ------
        UsageError
            If the file cannot be used.
        """
        code = secrets.token_bytes(CODE_BYTES)
        made = PairingCode(_digest(code), role, name, self._board.now_s(), self._board.boot())
        with locked(self._folder):
            crew = self._without_lapsed(self.read())
            self._write(replace(crew, codes=(*crew.codes, made)[-CODES_MOST:]))
        return code

    def redeem(self, code: bytes, own_name: str) -> tuple[Member, str] | None:
        """Spend a code; return the new member and its token, None if the code is not valid.

        Raises
        ------
        UsageError
            If the file cannot be used.
        """
        with locked(self._folder):
            crew = self._without_lapsed(self.read())
            waiting = crew.code_with(code, self._board.now_s(), self._board.boot())
            if waiting is None or len(crew.members) >= MEMBERS_MOST:
                return None
            token = secrets.token_urlsafe(TOKEN_BYTES)
            taken = {member.name for member in crew.members}
            name = free_name(waiting.name or own_name, taken, NAME_MOST - 4)
            member = Member(name, waiting.role, _digest(token.encode()))
            others = tuple(code for code in crew.codes if code is not waiting)
            self._write(Crew((*crew.members, member), others))
        return member, token

    def revoke(self, name: str) -> bool:
        """Remove a viewer and the codes made for its name; return whether there were any.

        Raises
        ------
        UsageError
            If the file cannot be used.
        """
        with locked(self._folder):
            crew = self.read()
            members = tuple(member for member in crew.members if member.name != name)
            codes = tuple(code for code in crew.codes if code.name != name)
            if members == crew.members and codes == crew.codes:
                return False
            self._write(Crew(members, codes))
        return True

    def waiting(self) -> tuple[PairingCode, ...]:
        """Return the codes that are still valid."""
        return self._without_lapsed(self.read()).codes

    def _without_lapsed(self, crew: Crew) -> Crew:
        now_s, boot = self._board.now_s(), self._board.boot()
        return replace(
            crew, codes=tuple(code for code in crew.codes if _is_valid(code, now_s, boot))
        )

    def _write(self, crew: Crew) -> None:
        stated = {"schema": SCHEMA, **asdict(crew)}
        try:
            write_whole(self.path, json.dumps(stated, indent=1) + "\n")
        except OSError as problem:
            raise UsageError(f"{self.path}: cannot be written: {cause_of(problem)}") from None


def checked_name(name: str | None) -> str:
    """Return the value of `--name`, empty without.

    Raises
    ------
    UsageError
        If nobody may be called that.
    """
    if name and not good_name(name):
        raise UsageError(
            f"--name {name!r}: expected 1 to {NAME_MOST} printable characters, no space at the ends"
        )
    return name or ""


def free_name(wanted: str, taken: set[str], most: int) -> str:
    """Return a name that is not taken: the one wanted, or its first `most` letters and a number."""
    name, number = wanted, 1
    while name in taken:
        number += 1
        name = f"{wanted[:most]}-{number}"
    return name


def _crew_from(raw: Any) -> Crew:
    """Return the crew that the file states.

    Raises
    ------
    ValueError, TypeError, KeyError
        If it has another form.
    """
    if set(raw) != {"schema", "members", "codes"} or raw["schema"] != SCHEMA:
        raise ValueError
    members = tuple(Member(**row) for row in raw["members"])
    codes = tuple(PairingCode(**row) for row in raw["codes"])
    for member in members:
        if not (
            good_name(member.name) and member.role in ROLES and _is_digest(member.token_sha256)
        ):
            raise ValueError
    for code in codes:
        fits = code.name == "" or good_name(code.name)
        if not (fits and code.role in ROLES and _is_digest(code.code_sha256)):
            raise ValueError
        if type(code.made_s) is not float or not isinstance(code.boot, str):
            raise ValueError
    return Crew(members, codes)


def _is_digest(text: object) -> bool:
    return isinstance(text, str) and len(text) == 64 and text.isascii()
