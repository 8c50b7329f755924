"""The part of a trip over which energy and distance are both counted, and marks along it."""

import numpy as np

from onboard.dataclass import dataclass
from onboard.efficiency.meters.distance import DistanceMeter
from onboard.efficiency.sources.battery_side import BatterySide
from onboard.efficiency.statistics.shared_errors import Spread
from onboard.efficiency.trip.consumption import Stretch


@dataclass(frozen=True)
class CountedPoint:
    """The totals of both meters at one stream time."""

    t_s: float
    energy_wh: float
    volt_hours: float
    distance_m: float
    under_way_s: float
    bridged_variance_wh2: float
    bridged_variance_m2: float


class CountedTogether:
    """The first and the last point that both meters have counted up to."""

    def __init__(self) -> None:
        self._meters: tuple[BatterySide, DistanceMeter] | None = None
        self.first: CountedPoint | None = None
        self.last: CountedPoint | None = None

    def fold(self, power: BatterySide | None, speed: DistanceMeter | None) -> None:
        """Fold the meters' present totals; call it at least every few minutes of the stream."""
        if power is None or speed is None:
            return
        begin_s, end_s = max(power.first_s, speed.first_s), min(power.last_s, speed.last_s)
        forgotten_s = max(power.forgotten_s, speed.forgotten_s)
        if (power, speed) != self._meters:
            # Restart, unless that would lose totals that a remaining meter has discarded.
            if begin_s >= forgotten_s or not _continues(self._meters, (power, speed)):
                self.first = None
            self._meters = power, speed
        if self.first is None:
            begin_s = max(begin_s, forgotten_s)
        if self.first is None and begin_s <= min(end_s, speed.track.settled_s):
            self.first = _point(power, speed, begin_s, at_start=True)
        # Where one meter has long been silent the other has discarded that time: the last stands.
        if self.first is not None and end_s >= max(power.forgotten_s, begin_s):
            self.last = _point(power, speed, end_s, at_start=False)

    def since(self, begin: CountedPoint | None) -> Stretch | None:
        """Return the stretch from a point up to the last one, None without."""
        if begin is None or self.last is None or self.last.t_s <= begin.t_s:
            return None
        end = self.last
        energy = end.energy_wh - begin.energy_wh
        bridged = end.bridged_variance_wh2 - begin.bridged_variance_wh2
        noise = 0.0
        if self._meters is not None:
            noise = self._meters[1].noise_variance_m2(end.under_way_s - begin.under_way_s)
        return Stretch.counted(
            end.t_s - begin.t_s,
            Spread.of_energy(energy, end.volt_hours - begin.volt_hours, bridged),
            end.distance_m - begin.distance_m,
            noise + end.bridged_variance_m2 - begin.bridged_variance_m2,
        )


def _continues(
    before: tuple[BatterySide, DistanceMeter] | None, now: tuple[BatterySide, DistanceMeter]
) -> bool:
    """Return whether the count continues: a pack added later supplied nothing until then."""
    return (
        before is not None
        and before[1] is now[1]
        and not set(before[0].all_meters).isdisjoint(now[0].all_meters)
    )


def _point(power: BatterySide, speed: DistanceMeter, t_s: float, *, at_start: bool) -> CountedPoint:
    times = np.array([t_s])
    return CountedPoint(
        t_s,
        float(power.at("energy_wh", times)[0]),
        float(power.at("volt_hours", times)[0]),
        speed.at_m(t_s),
        0.0 if at_start else speed.track.under_way_s,
        0.0 if at_start else power.bridged_variance_wh2,
        0.0 if at_start else speed.bridged_variance_m2,
    )
