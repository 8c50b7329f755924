"""Everything that a view is given to show. No screen code."""

from dataclasses import dataclass, field

from groundside.connection.freshness import data_age_s, is_stale
from groundside.connection.source import ReplayState
from groundside.words.units import Units
from onboard.contract.snapshot import Snapshot
from onboard.contract.trip_line import TripLine


@dataclass(frozen=True)
class ViewState:
    """The present state: five a second go to the view in sight.

    Parameters
    ----------
    snapshot
        The newest snapshot; before the first, one of which nothing is known.
    units
        The rider's units.
    started
        Whether a snapshot has come yet.
    since_received_s
        Time since the snapshot came [s].
    problem
        The source's sentence if it has no snapshot now.
    source
        Name of the source.
    target_distance_m
        Distance to make, if the command line set one [m].
    trip_line
        The trip so far.
    replay
        Place in a saved ride; None if it is a live one.
    can_talk
        Whether there is a daemon that takes marks and settings.
    can_seek
        Whether one can go back and forth in time.
    done, refusal
        Result of the rider's last command, or why there is none, for a few seconds; else empty.
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
    can_talk: bool = False
    can_seek: bool = False
    done: str = ""
    refusal: str = ""
    now_s: float = 0.0

    @property
    def stale(self) -> bool:
        """Whether the figures are too old to ride by."""
        return self.started and is_stale(self.snapshot, self.since_received_s, self.replay)

    @property
    def age_s(self) -> float | None:
        """Age of the newest telemetry [s], None where it is not known."""
        return data_age_s(self.snapshot, self.since_received_s, self.replay)
