"""A source of snapshots that adds the rider's target distance, where the daemon knows of none."""

from collections.abc import AsyncIterator
from dataclasses import replace

from groundside.connection.source import SnapshotSource, Update, Wrapped
from groundside.studies.consumption_cue import distance_target
from onboard.contract.advice import Target
from onboard.contract.figure import Figure, Unknown, within
from onboard.contract.snapshot import Snapshot


class WithTarget(Wrapped):
    """Fills in `target` of the snapshots of another source.

    Parameters
    ----------
    source
        Where snapshots come from.
    distance_m
        Distance to make from the first snapshot on [m].
    """

    def __init__(self, source: SnapshotSource, distance_m: float) -> None:
        super().__init__(source)
        self._distance_m = distance_m
        self._made_m = 0.0
        self._trip_m: float | None = None

    async def stream(self) -> AsyncIterator[Update]:
        """Return the updates of the source behind, with the target filled in."""
        async for update in self._source.stream():
            snapshot = update.snapshot
            if snapshot is not None and isinstance(snapshot.target, Unknown):
                snapshot = replace(snapshot, target=self._target(snapshot))
            yield replace(update, snapshot=snapshot)

    def _target(self, snapshot: Snapshot) -> Target:
        trip = snapshot.trip.distance_m
        if isinstance(trip, Figure):
            # A daemon that started anew counts from zero again; what was made stays made.
            self._made_m += max(
                0.0, trip.value - (trip.value if self._trip_m is None else self._trip_m)
            )
            self._trip_m = trip.value
        return distance_target(
            self._distance_m - self._made_m,
            within(snapshot.battery, lambda battery: battery.left_wh),
            snapshot.wh_per_km.last_300_s,
        )
