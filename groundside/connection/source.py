"""Sources of snapshots: live feed, replay and test source look the same to the screens.

A source yields updates until it ends; an update without a snapshot carries the reason.
"""

from collections.abc import AsyncIterator
from dataclasses import replace
from typing import Protocol

from groundside.connection.commands import CommandResult
from onboard.contract.alerts import Alert
from onboard.contract.commands import Command
from onboard.contract.snapshot import Snapshot
from onboard.contract.trip_line import TripLine
from onboard.dataclass import dataclass


@dataclass(frozen=True)
class PlacedEvent:
    """An event of a saved ride, placed where the rider first saw it.

    Parameters
    ----------
    place_s
        Time from the start of the ride [s].
    what
        The alert that was raised, or the rider's command.
    """

    place_s: float
    what: Alert | Command


@dataclass(frozen=True)
class ReplayState:
    """The state of a replay.

    Parameters
    ----------
    speed
        Multiple of real time.
    paused
        Whether it is paused.
    t_s, duration_s
        Place in the log, and the log's length [s].
    ready_fraction
        Share of the log that is indexed for seeking.
    events
        Events in that share, in order.
    """

    speed: float
    paused: bool
    t_s: float
    duration_s: float
    ready_fraction: float = 0.0
    events: tuple[PlacedEvent, ...] = ()

    @property
    def stands_still(self) -> bool:
        """Whether the replay is paused or at its end, so that nothing new is due."""
        return self.paused or self.t_s >= self.duration_s


@dataclass(frozen=True)
class Update:
    """An update from a source: a snapshot, or the reason why there is none now.

    Parameters
    ----------
    snapshot
        The newest snapshot, or None.
    problem
        A sentence on why there is no snapshot; None if there is one.
    trip_line
        The trip so far, if the source sends it with this update; else None.
    replay
        State of the replay; None if the source is not one.
    """

    snapshot: Snapshot | None
    problem: str | None = None
    trip_line: TripLine | None = None
    replay: ReplayState | None = None


class ReplayControls(Protocol):
    """Pause and speed of a replay."""

    def pause_or_go(self) -> None:
        """Pause a running replay, or resume a paused one."""

    def faster(self) -> None:
        """Play at the next higher speed."""

    def slower(self) -> None:
        """Play at the next lower speed."""


class SeekControls(Protocol):
    """Seeking in a saved ride; places beyond its ends are clamped."""

    def jump(self, seconds_s: float) -> None:
        """Skip forward, or back if negative."""

    def go_to(self, fraction: float) -> None:
        """Go to a share of the ride's duration, 0 to 1."""

    def go_to_distance(self, distance_m: float) -> None:
        """Go to where the trip reached a distance [m]."""

    def next_event(self) -> bool:
        """Go to the next event; return False if there is none."""

    def event_before(self) -> None:
        """Go to the previous event, or to the start if there is none."""


class CommandSender(Protocol):
    """Sends commands to a daemon."""

    async def send(self, command: Command) -> CommandResult:
        """Send a command, as made by `groundside.connection.commands`, and wait for its result."""


class SnapshotSource(Protocol):
    """Where snapshots come from."""

    @property
    def name(self) -> str:
        """Name of the source on the screen, such as `feed 127.0.0.1:27220`."""

    @property
    def controls(self) -> ReplayControls | None:
        """Replay controls; None if time cannot be controlled, as on a live feed."""

    @property
    def seek_controls(self) -> SeekControls | None:
        """Seek controls of a saved ride; None if the source cannot seek."""

    @property
    def command_sender(self) -> CommandSender | None:
        """Sends commands to the daemon; None without a daemon."""

    def stream(self) -> AsyncIterator[Update]:
        """Yield updates until the source ends; a live feed never ends by itself."""


class SourceWrapper:
    """A source that adapts the updates of another and passes everything else through.

    Parameters
    ----------
    source
        The source to wrap.
    """

    def __init__(self, source: SnapshotSource) -> None:
        self._source = source
        self.name, self.controls = source.name, source.controls
        self.seek_controls, self.command_sender = source.seek_controls, source.command_sender

    def adapt(self, update: Update) -> Update:
        """Return an update of the wrapped source, as adapted."""
        return update

    async def stream(self) -> AsyncIterator[Update]:
        """Yield the adapted updates of the wrapped source."""
        async for update in self._source.stream():
            yield self.adapt(update)


class NotFoundYet(SourceWrapper):
    """A source that reports a failed search instead of its problem until its first snapshot.

    Parameters
    ----------
    source
        The source to wrap.
    why
        What was searched for without success, in a few words.
    """

    def __init__(self, source: SnapshotSource, why: str) -> None:
        super().__init__(source)
        self._why = why
        self._found = False

    def adapt(self, update: Update) -> Update:
        """Replace the problem of an update before the first snapshot."""
        self._found = self._found or update.snapshot is not None
        return (
            update if self._found or update.problem is None else replace(update, problem=self._why)
        )


class ReadOnlySource(SourceWrapper):
    """A source for viewing only: no command reaches its daemon."""

    def __init__(self, source: SnapshotSource) -> None:
        super().__init__(source)
        self.command_sender = None
