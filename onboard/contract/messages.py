"""The lines of the feed: each an object with its kind, and the records that they carry.

The first line is the hello; then snapshots, now and then the trip line, and answers to commands.
"""

from dataclasses import dataclass
from typing import Any, Literal

from onboard.contract.commands import Command, Refused, command_from
from onboard.contract.refusals import Refusal
from onboard.contract.snapshot import Snapshot
from onboard.contract.trip_line import TripLine

Role = Literal["crew", "viewer"]
"""Who steers too, and who only looks on."""


@dataclass(frozen=True)
class Hello:
    """What the daemon says first.

    Parameters
    ----------
    craft
        What it is called.
    rate_hz
        How many snapshots come a second.
    """

    craft: str
    rate_hz: float


@dataclass(frozen=True)
class Ack:
    """The answer to a command, and to other viewers the news of it.

    Parameters
    ----------
    id
        The viewer's own number; None in news.
    ok
        Whether it was done.
    why
        Why not; None where it was done.
    by
        Whether this viewer said it.
    command
        What was said, with the position where it was said "here"; None where it was no command.
    """

    id: int | None
    ok: bool
    why: Refusal | None
    by: bool = True
    command: Command | None = None


@dataclass(frozen=True)
class TurnedAway:
    """The door lets nobody in: a wrong code or token, or why a right one is not let in now."""

    why: Refusal | None = None


@dataclass(frozen=True)
class Paired:
    """What a viewer gets for its code, once.

    Parameters
    ----------
    token, name, role, craft
        What to come in with from now on, as whom, what that one may do, and where.
    """

    token: str
    name: str
    role: Role
    craft: str


Message = Hello | Snapshot | TripLine | Ack | TurnedAway | Paired

KINDS: dict[str, type[Any]] = {
    "hello": Hello,
    "snapshot": Snapshot,
    "trip_line": TripLine,
    "ack": Ack,
    "refused": TurnedAway,
    "paired": Paired,
}
"""The kinds of lines that a daemon says."""


def command_read(raw: object) -> Command | None:
    """Read the command that an answer repeats; None where it is none."""
    command = command_from(raw)
    return None if isinstance(command, Refused) else command
