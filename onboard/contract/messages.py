"""The lines of the feed, each an object with its kind, and the records that they carry.

The first line is the hello; then come snapshots, now and then the trip line, and answers.
"""

from typing import Any, Literal

from onboard.contract.commands import Command, Refused, command_from
from onboard.contract.refusals import Refusal
from onboard.contract.snapshot import Snapshot
from onboard.contract.trip_line import TripLine
from onboard.dataclass import dataclass

Role = Literal["crew", "viewer"]
"""Crew may give commands; a viewer may only watch."""


@dataclass(frozen=True)
class Hello:
    """The daemon's first line.

    Parameters
    ----------
    craft
        Its name.
    rate_hz
        Snapshots per second.
    """

    craft: str
    rate_hz: float


@dataclass(frozen=True)
class Ack:
    """The answer to a command; for other viewers, the news of it.

    Parameters
    ----------
    id
        The viewer's own number; None in news.
    ok
        Whether it was done.
    why
        Why not; None if it was done.
    by
        Whether this viewer sent it.
    command
        What was sent, with the position in place of "here"; None if it was not a command.
    """

    id: int | None
    ok: bool
    why: Refusal | None
    by: bool = True
    command: Command | None = None


@dataclass(frozen=True)
class TurnedAway:
    """A viewer is turned away.

    Parameters
    ----------
    why
        Why a valid code or token is not accepted now; None if it is invalid.
    """

    why: Refusal | None = None


@dataclass(frozen=True)
class Paired:
    """What a viewer gets for its code, once.

    Parameters
    ----------
    token
        What to join with from now on.
    name
        What the crew calls this viewer.
    role
        What it may do.
    craft
        The craft's name.
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
"""The kinds of lines that a daemon sends."""


def command_read(raw: object) -> Command | None:
    """Return the command that an answer repeats, None if there is none."""
    command = command_from(raw)
    return None if isinstance(command, Refused) else command
