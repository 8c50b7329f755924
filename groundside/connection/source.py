"""What feeds the dashboard and the plain lines: a live feed, a replay or a test, all alike.

A source yields updates for as long as it lives; if it has no snapshot, it says why.
"""

from collections.abc import AsyncIterator
from dataclasses import dataclass, replace
from typing import Protocol

from groundside.connection.answers import Said
from onboard.contract.alerts import Alert
from onboard.contract.commands import Command
from onboard.contract.snapshot import Snapshot
from onboard.contract.trip_line import TripLine


@dataclass(frozen=True)
class PlacedEvent:
    """An event of a saved ride, at the place where the rider first saw it.

    Parameters
    ----------
    place_s
        Time from the start of the ride.
    what
        The alert that came up, or what the rider said.
    """

    place_s: float
    what: Alert | Command


@dataclass(frozen=True)
class ReplayState:
    """Where a replay is.

    Parameters
    ----------
    speed
        Multiple of real time.
    paused
        Whether it stands still.
    t_s, duration_s
        Place in the log, and its length.
    ready_fraction
        Share of the log that is ready for moving back and forth.
    events
        Events in the part that is ready.
    """

    speed: float
    paused: bool
    t_s: float
    duration_s: float
    ready_fraction: float = 0.0
    events: tuple[PlacedEvent, ...] = ()

    @property
    def stands_still(self) -> bool:
        """Whether nothing new is due, as it is paused or at its end."""
        return self.paused or self.t_s >= self.duration_s


@dataclass(frozen=True)
class Update:
    """One thing that a source has to say: a snapshot, or why there is none now.

    Parameters
    ----------
    snapshot
        The newest snapshot, as decoded from JSON, or None.
    problem
        Why there is no snapshot now, in a sentence for the rider; None if there is one.
    trip_line
        The trip so far, if the source sends it anew; else None.
    replay
        Where the replay of a saved ride is; None if it is not a replay.
    """

    snapshot: Snapshot | None
    problem: str | None = None
    trip_line: TripLine | None = None
    replay: ReplayState | None = None


class ReplayControls(Protocol):
    """What a person can do to a replay while it runs."""

    def pause_or_go(self) -> None:
        """Pause a running replay, or resume a paused one."""

    def faster(self) -> None:
        """Play at the next higher speed."""

    def slower(self) -> None:
        """Play at the next lower speed."""


class Places(Protocol):
    """Where a person can go in a saved ride; places beyond its ends become its ends."""

    def jump(self, seconds_s: float) -> None:
        """Go this far forward, or back if negative [s]."""

    def go_to(self, fraction: float) -> None:
        """Go to a share of the ride's length, 0 to 1."""

    def go_to_distance(self, distance_m: float) -> None:
        """Go to where the trip had made this distance [m]."""

    def next_event(self) -> bool:
        """Go to the next event and return True; stay and return False if there is none."""

    def event_before(self) -> None:
        """Go to the event before this place, or to the start if there is none."""


class Talk(Protocol):
    """Sends commands to a daemon."""

    async def send(self, command: Command) -> Said:
        """Send a command, as `groundside.connection.say` does, and return how it fared."""


class SnapshotSource(Protocol):
    """Where snapshots come from."""

    @property
    def name(self) -> str:
        """What the source is called on the screen, such as `feed 127.0.0.1:27220`."""

    @property
    def controls(self) -> ReplayControls | None:
        """Controls of a replay; None if time cannot be controlled, as on a live feed."""

    @property
    def places(self) -> Places | None:
        """Places in a saved ride; None if there is no moving back and forth."""

    @property
    def talk(self) -> Talk | None:
        """What sends commands to the daemon; None if no daemon listens."""

    def stream(self) -> AsyncIterator[Update]:
        """Yield updates until the source has no more; a live feed never ends by itself."""


class Wrapped:
    """A source around another: it passes on name and controls, and has a `stream` of its own.

    Parameters
    ----------
    source
        The source behind.
    """

    def __init__(self, source: SnapshotSource) -> None:
        self._source = source

    @property
    def name(self) -> str:
        """The name of the source behind."""
        return self._source.name

    @property
    def controls(self) -> ReplayControls | None:
        """The controls of the source behind."""
        return self._source.controls

    @property
    def places(self) -> Places | None:
        """The places of the source behind."""
        return self._source.places

    @property
    def talk(self) -> Talk | None:
        """What sends commands for the source behind."""
        return self._source.talk


class Lacking(Wrapped):
    """A source that says why there may be no snapshot until the first one comes.

    Parameters
    ----------
    source
        The source behind.
    why
        What was looked for in vain.
    """

    def __init__(self, source: SnapshotSource, why: str) -> None:
        super().__init__(source)
        self._why = why

    async def stream(self) -> AsyncIterator[Update]:
        """Yield the updates of the source behind, with the reason until the first snapshot."""
        came = False
        async for update in self._source.stream():
            came = came or update.snapshot is not None
            yield update if came or update.problem is None else replace(update, problem=self._why)


class ReadOnly(Wrapped):
    """A source to look at only: no command reaches what is behind it."""

    @property
    def talk(self) -> None:
        """None: no commands are sent."""
        return None

    async def stream(self) -> AsyncIterator[Update]:
        """Yield the updates of the source behind as they are."""
        async for update in self._source.stream():
            yield update
