"""A source of snapshots that adds the rider's target distance, where the daemon knows of none."""

from collections.abc import AsyncIterator
from typing import Any

from onboard.feed.jsonable import jsonable

from groundside.figures import number
from groundside.source import Snapshot, SnapshotSource, Update, Wrapped
from onboard.contract.figure import Estimate, Figure, Unknown
from onboard.efficiency.consumption_cue import distance_target


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
        """Give the updates of the source behind, with the target filled in."""
        async for update in self._source.stream():
            if update.snapshot is not None and not update.snapshot.get("target"):
                update.snapshot["target"] = self._target(update.snapshot)
            yield update

    def _target(self, snapshot: Snapshot) -> dict[str, Any]:
        trip = _estimate(snapshot.get("trip"), "distance_m")
        if isinstance(trip, Figure):
            # A daemon that started anew counts from zero again; what was made stays made.
            self._made_m += max(
                0.0, trip.value - (trip.value if self._trip_m is None else self._trip_m)
            )
            self._trip_m = trip.value
        target: dict[str, Any] = jsonable(
            distance_target(
                self._distance_m - self._made_m,
                _estimate(snapshot.get("battery"), "left_wh"),
                _estimate(snapshot.get("wh_per_km"), "last_300_s"),
            )
        )
        return target | {"confidence_fraction": None}


def _estimate(holder: Any, key: str) -> Estimate:
    """Read a figure out of a snapshot."""
    if not isinstance(holder, dict):
        return Unknown(f"no {key} from the daemon")
    figure = holder.get(key)
    if isinstance(figure, dict) and (value := number(figure.get("value"))) is not None:
        return Figure(value)
    reasons = holder.get("why")
    why = reasons.get(key) if isinstance(reasons, dict) else None
    return Unknown(str(why or f"no {key} from the daemon"))
