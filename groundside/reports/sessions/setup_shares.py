"""Which set-ups a ride was ridden with, and what it used and made with each."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from groundside.studies.rides import Share, Sums
from onboard.contract.commands import Set
from onboard.contract.figure import Estimate, Unknown
from onboard.efficiency.curve.learner import PLAIN_SETUP
from onboard.profile import Profile
from onboard.record.marks import read_marks
from onboard.record.sessions import SessionNote
from onboard.restarts.refold import replay
from onboard.restarts.trip_sessions import earlier_of_trip
from onboard.ride.ride import Ride
from onboard.telemetry.logs.telemetry_log import read_log

ASHORE_M = 50.0
"""A set-up that went no farther was named on land, or by a slip of the thumb: what it used counts
to its neighbour. Common practice, no source."""


@dataclass(frozen=True)
class SetupChange:
    """A set-up that was named, and when by the clock of the record's stamps [us]."""

    stamp_us: int
    setup: str


def setup_changes(folder: Path) -> tuple[SetupChange, ...]:
    """Return the set-ups that were named in a session, in order."""
    return tuple(
        SetupChange(one.stamp_us, str(one.command.value))
        for one in sorted(read_marks(folder), key=lambda one: one.stamp_us)
        if isinstance(one.command, Set) and one.command.key == "setup"
    )


ChangesOf = Callable[[Path], tuple[SetupChange, ...]]
"""See `setup_changes`; it may remember what it has read."""


def start_setup(path: Path, note: SessionNote | None, changes_of: ChangesOf) -> str:
    """Return the set-up in force when a session began: that of the trip it goes on with, if any.

    Parameters
    ----------
    path
        The session's folder.
    note
        What the folder says of the session, None without.
    changes_of
        Gives the set-ups that were named in a session.
    """
    for before in earlier_of_trip(path, note):
        if changes := changes_of(before):
            return changes[-1].setup
    return PLAIN_SETUP


def setup_shares(
    path: Path, profile: Profile, setup: str, changes: Sequence[SetupChange], sums: Sums
) -> tuple[Share, ...]:
    """Share a ride's energy and distance out to its set-ups.

    Parameters
    ----------
    path
        The session's folder, or a log.
    profile
        The craft.
    setup
        The set-up in force at the start.
    changes
        What was named since, in order.
    sums
        What the whole ride comes to.

    Raises
    ------
    LogError
        If the record cannot be read.
    """
    if {change.setup for change in changes} <= {setup}:
        return (Share(setup, _value(sums.energy_wh), _value(sums.distance_m)),)
    places = _Places(changes)
    replay(Ride(profile), read_log(path), places.wanted)
    ends = [*places.reached, (_value(sums.energy_wh), _value(sums.distance_m))]
    shares = []
    before_wh = before_m = 0.0
    for label, (energy_wh, distance_m) in zip(
        [setup, *(change.setup for change in changes)], ends, strict=True
    ):
        shares.append(Share(label, _since(before_wh, energy_wh), _since(before_m, distance_m)))
        before_wh = before_wh if energy_wh is None else energy_wh
        before_m = before_m if distance_m is None else distance_m
    return joined(shares)


def joined(shares: Sequence[Share]) -> tuple[Share, ...]:
    """Join those of one set-up that follow each other, and give away those that went nowhere.

    Examples
    --------
    >>> joined([Share("as is", 1.0, 4.0), Share("B", 60.0, 1000.0), Share("C", 2.0, 8.0)])
    (Share(setup='B', energy_wh=63.0, distance_m=1012.0),)
    """
    left = list(shares)
    place = 0
    while len(left) > 1 and place < len(left):
        if (left[place].distance_m or 0.0) < ASHORE_M:
            taker = place + 1 if place + 1 < len(left) else place - 1
            left[taker] = _together(left[taker].setup, left[place], left[taker])
            del left[place]
            place = 0
        else:
            place += 1
    found: list[Share] = []
    for share in left:
        if found and found[-1].setup == share.setup:
            found[-1] = _together(share.setup, found[-1], share)
        else:
            found.append(share)
    return tuple(found)


class _Places:
    """Takes down energy and distance where a record comes by a change of the set-up."""

    def __init__(self, changes: Sequence[SetupChange]) -> None:
        self.reached: list[tuple[float | None, float | None]] = []
        self.wanted = [_Place(change.stamp_us, self.reached) for change in changes]


@dataclass(frozen=True)
class _Place:
    """See `refold.TimedAction`: nothing is done to the ride, only looked at it."""

    stamp_us: int
    reached: list[tuple[float | None, float | None]]

    def apply(self, ride: Ride) -> None:
        trip = ride.engine.figures().trip
        self.reached.append((_value(trip.energy_wh), _value(trip.distance_m)))


def _value(figure: Estimate) -> float | None:
    return None if isinstance(figure, Unknown) else figure.value


def _since(before: float, now: float | None) -> float | None:
    return None if now is None else max(now - before, 0.0)


def _together(setup: str, one: Share, other: Share) -> Share:
    def added(a: float | None, b: float | None) -> float | None:
        return b if a is None else a if b is None else a + b

    return Share(
        setup,
        added(one.energy_wh, other.energy_wh),
        added(one.distance_m, other.distance_m),
    )
