"""A snapshot source that fills in the rider's target distance if the daemon has none."""

from dataclasses import replace

from groundside.connection.source import SnapshotSource, SourceWrapper, Update
from groundside.studies.consumption_cue import distance_target
from onboard.contract.advice import Target
from onboard.contract.figure import Figure, Unknown
from onboard.contract.snapshot import Snapshot


class TargetSource(SourceWrapper):
    """Fills in `target` of another source's snapshots.

    Parameters
    ----------
    source
        The source to wrap.
    distance_m
        Distance to go from the first snapshot on [m].
    """

    def __init__(self, source: SnapshotSource, distance_m: float) -> None:
        super().__init__(source)
        self._distance_m = distance_m
        self._made_m = 0.0
        self._trip_m: float | None = None

    def adapt(self, update: Update) -> Update:
        """Fill in the target of an update's snapshot."""
        snapshot = update.snapshot
        if snapshot is not None and isinstance(snapshot.target, Unknown):
            snapshot = replace(snapshot, target=self._target(snapshot))
        return replace(update, snapshot=snapshot)

    def _target(self, snapshot: Snapshot) -> Target:
        trip = snapshot.trip.distance_m
        if isinstance(trip, Figure):
            # A restarted daemon counts from zero; keep the distance already made.
            self._made_m += max(
                0.0, trip.value - (trip.value if self._trip_m is None else self._trip_m)
            )
            self._trip_m = trip.value
        return distance_target(
            self._distance_m - self._made_m,
            snapshot.range_m.now,
            snapshot.wh_per_km.last_300_s,
        )
