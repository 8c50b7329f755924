"""What the dashboard and the plain lines are fed from: a live feed, a replay or a test, all alike.

A source gives updates for as long as it lives; what it cannot give, it says in a sentence.
"""

from collections.abc import AsyncIterator
from dataclasses import dataclass, replace
from typing import Protocol

from groundside.answers import Said
from onboard.contract.alerts import Alert
from onboard.contract.commands import Command
from onboard.contract.snapshot import Snapshot
from onboard.contract.trip_line import TripLine


@dataclass(frozen=True)
class PlacedEvent:
    """An event of a saved ride, at the place where the rider first saw it [s from its start].

    Parameters
    ----------
    place_s
        Where.
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
        Place, and length of the log.
    ready_fraction
        How much of the log is ready for going back and forth.
    events
        What happened in what is ready.
    """

    speed: float
    paused: bool
    t_s: float
    duration_s: float
    ready_fraction: float = 0.0
    events: tuple[PlacedEvent, ...] = ()

    @property
    def stands_still(self) -> bool:
        """Whether nothing new is due: it is paused, or at its end."""
        return self.paused or self.t_s >= self.duration_s


@dataclass(frozen=True)
class Update:
    """One thing a source has to say: a snapshot, or why there is none now.

    Parameters
    ----------
    snapshot
        The newest snapshot, as decoded from JSON, or None.
    problem
        A plain sentence for the rider where there is no snapshot now, else None.
    trip_line
        The trip so far, where the source tells it anew; else None.
    replay
        Where the replay is, of a saved ride; else None.
    """

    snapshot: Snapshot | None
    problem: str | None = None
    trip_line: TripLine | None = None
    replay: ReplayState | None = None


class ReplayControls(Protocol):
    """What a person can do to a replay while it runs."""

    def pause_or_go(self) -> None:
        """Pause a replay that runs; let a paused one go on."""

    def faster(self) -> None:
        """Play at the next higher speed."""

    def slower(self) -> None:
        """Play at the next lower speed."""


class Places(Protocol):
    """Where a person can go in a saved ride; each comes to lie within it."""

    def jump(self, seconds_s: float) -> None:
        """Go so far forward, or back where negative [s]."""

    def go_to(self, fraction: float) -> None:
        """Go to a share of the whole time, 0 to 1."""

    def go_to_distance(self, distance_m: float) -> None:
        """Go to where the trip had made that distance [m]."""

    def next_event(self) -> bool:
        """Go to the next event; stay where there is none, and tell whether there was one."""

    def event_before(self) -> None:
        """Go to the event before this place; to the start where there is none."""


class Talk(Protocol):
    """Says things to a daemon."""

    async def send(self, command: Command) -> Said:
        """Say one thing, as of `groundside.say`, and give how it fared."""


class SnapshotSource(Protocol):
    """Where snapshots come from."""

    @property
    def name(self) -> str:
        """What the source is called on the screen, such as `feed 127.0.0.1:27220`."""

    @property
    def controls(self) -> ReplayControls | None:
        """Controls of a replay; None where time cannot be steered, as on a live feed."""

    @property
    def places(self) -> Places | None:
        """Where one can go in a saved ride; None where there is no going back and forth."""

    @property
    def talk(self) -> Talk | None:
        """The way to say something to the daemon; None where there is none that listens."""

    def stream(self) -> AsyncIterator[Update]:
        """Give updates until the source has no more; a live feed never ends by itself."""


class Wrapped:
    """A source around another: passes on its name and controls; `stream` is the wrapper's own.

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
        """The way to talk of the source behind."""
        return self._source.talk


class Lacking(Wrapped):
    """A source that says, until the first snapshot comes, why there may be none.

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
        """Give the updates of the source behind, with the reason before the first snapshot."""
        came = False
        async for update in self._source.stream():
            came = came or update.snapshot is not None
            yield update if came or update.problem is None else replace(update, problem=self._why)


class ReadOnly(Wrapped):
    """A source that is looked at only: nothing can be said to what is behind it."""

    @property
    def talk(self) -> None:
        """None: nobody is spoken to."""
        return None

    async def stream(self) -> AsyncIterator[Update]:
        """Give the updates of the source behind as they are."""
        async for update in self._source.stream():
            yield update
