"""The state that a view shows, free of screen code."""

from dataclasses import field

from groundside.connection.freshness import data_age_s, is_stale
from groundside.connection.source import ReplayState
from groundside.dashboard.lock import LockState
from groundside.dashboard.sounds import USUAL, Sounds
from groundside.words.units import Units
from onboard.contract.snapshot import Snapshot
from onboard.contract.trip_line import TripLine
from onboard.dataclass import dataclass


@dataclass(frozen=True)
class ViewState:
    """The present state, passed to the visible view five times a second.

    Parameters
    ----------
    snapshot
        The newest snapshot; before the first, one in which everything is unknown.
    units
        The rider's units.
    started
        Whether a snapshot has arrived yet.
    since_received_s
        Time since the snapshot arrived [s].
    problem
        The source's sentence on why it has no snapshot now.
    source
        Name of the source.
    target_distance_m
        Distance to make, if the command line set one [m].
    trip_line
        The trip so far.
    replay
        State of the replay of a saved ride; None if live.
    can_command
        Whether there is a daemon that accepts marks and settings.
    can_seek
        Whether the source can seek in time.
    done, refusal
        Result of the rider's last command, or why it failed, for a few seconds; else empty.
    asks
        What a second press of the same key would do; empty if none is awaited.
    caution
        Whether the caution is still to be read.
    lock
        The lock against wet hands.
    sounds
        What the rider wants to hear.
    now_s
        The dashboard's monotonic clock [s].
    """

    snapshot: Snapshot
    units: Units
    started: bool = True
    since_received_s: float = 0.0
    problem: str | None = None
    source: str = ""
    target_distance_m: float | None = None
    trip_line: TripLine = field(default_factory=TripLine)
    replay: ReplayState | None = None
    can_command: bool = False
    can_seek: bool = False
    done: str = ""
    refusal: str = ""
    asks: str = ""
    caution: bool = False
    lock: LockState = field(default_factory=LockState)
    sounds: Sounds = USUAL
    now_s: float = 0.0

    @property
    def stale(self) -> bool:
        """Whether the figures are too old to ride by."""
        return self.started and is_stale(self.snapshot, self.since_received_s, self.replay)

    @property
    def age_s(self) -> float | None:
        """Age of the newest telemetry [s]; None if unknown."""
        return data_age_s(self.snapshot, self.since_received_s, self.replay)
