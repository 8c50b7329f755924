"""The set-ups of a ride, with energy and distance for each."""

from collections.abc import Callable, Sequence
from pathlib import Path

from groundside.studies.rides import Share, Sums
from onboard.contract.commands import Set
from onboard.contract.figure import Estimate, Unknown
from onboard.dataclass import dataclass
from onboard.efficiency.curve.learner import PLAIN_SETUP
from onboard.profile import Profile
from onboard.record.marks import read_marks
from onboard.record.sessions import read_session
from onboard.restarts.refold import replay
from onboard.restarts.trip_sessions import earlier_of_trip
from onboard.ride.ride import Ride
from onboard.telemetry.logs.telemetry_log import read_log

ASHORE_M = 50.0
"""Distance up to which a set-up counts as selected ashore or by mistake [m]: its share goes to a
neighbour. Common practice, no source."""


@dataclass(frozen=True)
class SetupChange:
    """A selected set-up, and the time of selection by the record's stamps [us]."""

    stamp_us: int
    setup: str


def setup_changes(folder: Path) -> tuple[SetupChange, ...]:
    """Return the set-ups selected in a session, in order."""
    return tuple(
        SetupChange(one.stamp_us, str(one.command.value))
        for one in sorted(read_marks(folder), key=lambda one: one.stamp_us)
        if isinstance(one.command, Set) and one.command.key == "setup"
    )


ChangesOf = Callable[[Path], tuple[SetupChange, ...]]
"""Returns a session's changes like `setup_changes`; may cache them."""


def start_setup(path: Path, changes_of: ChangesOf = setup_changes) -> str:
    """Return the set-up in force when a session began: that of the trip it continues, if any.

    Parameters
    ----------
    path
        The session's folder.
    changes_of
        Returns a session's changes of set-up.
    """
    for before in earlier_of_trip(path, read_session(path)):
        if changes := changes_of(before):
            return changes[-1].setup
    return PLAIN_SETUP


def setup_shares(
    path: Path, profile: Profile, setup: str, changes: Sequence[SetupChange], sums: Sums
) -> tuple[Share, ...]:
    """Return a ride's energy and distance by set-up.

    Parameters
    ----------
    path
        The session's folder, or a log.
    profile
        The craft.
    setup
        The set-up in force at the start.
    changes
        The changes of set-up since, in order.
    sums
        The sums of the whole ride.

    Raises
    ------
    LogError
        If the record cannot be read.
    """
    if {change.setup for change in changes} <= {setup}:
        return (Share(setup, _value(sums.energy_wh), _value(sums.distance_m)),)
    ends: list[tuple[float | None, float | None]] = []
    replay(Ride(profile), read_log(path), [_Reading(one.stamp_us, ends) for one in changes])
    ends.append((_value(sums.energy_wh), _value(sums.distance_m)))
    shares = []
    before_wh = before_m = 0.0
    for label, (energy_wh, distance_m) in zip(
        [setup, *(change.setup for change in changes)], ends, strict=True
    ):
        shares.append(Share(label, _since(before_wh, energy_wh), _since(before_m, distance_m)))
        before_wh = before_wh if energy_wh is None else energy_wh
        before_m = before_m if distance_m is None else distance_m
    return merged_shares(shares)


def merged_shares(shares: Sequence[Share]) -> tuple[Share, ...]:
    """Merge consecutive shares of one set-up, and very short ones into a neighbour.

    Examples
    --------
    >>> merged_shares([Share("as is", 1.0, 4.0), Share("B", 60.0, 1000.0), Share("C", 2.0, 8.0)])
    (Share(setup='B', energy_wh=63.0, distance_m=1012.0),)
    """
    left = list(shares)
    place = 0
    while len(left) > 1 and place < len(left):
        if (left[place].distance_m or 0.0) < ASHORE_M:
            taker = place + 1 if place + 1 < len(left) else place - 1
            left[taker] = _merged(left[taker].setup, left[place], left[taker])
            del left[place]
            place = 0
        else:
            place += 1
    found: list[Share] = []
    for share in left:
        if found and found[-1].setup == share.setup:
            found[-1] = _merged(share.setup, found[-1], share)
        else:
            found.append(share)
    return tuple(found)


@dataclass(frozen=True)
class _Reading:
    """Reads the meters at a stamp of the record, applied like a mark; see `refold.replay`."""

    stamp_us: int
    readings: list[tuple[float | None, float | None]]

    def apply(self, ride: Ride) -> None:
        trip = ride.engine.figures().trip
        self.readings.append((_value(trip.energy_wh), _value(trip.distance_m)))


def _value(figure: Estimate) -> float | None:
    return None if isinstance(figure, Unknown) else figure.value


def _since(before: float, now: float | None) -> float | None:
    return None if now is None else max(now - before, 0.0)


def _merged(setup: str, one: Share, other: Share) -> Share:
    def added(a: float | None, b: float | None) -> float | None:
        return b if a is None else a if b is None else a + b

    return Share(
        setup,
        added(one.energy_wh, other.energy_wh),
        added(one.distance_m, other.distance_m),
    )
