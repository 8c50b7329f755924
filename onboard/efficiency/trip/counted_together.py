"""The part of a trip over which energy and distance are both counted, and marks along it."""

from dataclasses import dataclass

import numpy as np

from onboard.efficiency.meters.distance import DistanceMeter
from onboard.efficiency.sources.battery_side import BatterySide
from onboard.efficiency.statistics.shared_errors import COUNT, Spread
from onboard.efficiency.trip.consumption import Stretch


@dataclass(frozen=True)
class Point:
    """What was counted up to one time of the stream."""

    t_s: float
    energy_wh: float
    volt_hours: float
    distance_m: float
    under_way_s: float
    bridged_variance_wh2: float
    bridged_variance_m2: float


class Together:
    """Keeps the first and the last point that both meters have counted to."""

    def __init__(self) -> None:
        self._meters: tuple[BatterySide, DistanceMeter] | None = None
        self.first: Point | None = None
        self.last: Point | None = None

    def update(self, power: BatterySide | None, speed: DistanceMeter | None) -> None:
        """Look at the meters; at least once in every few minutes of the stream."""
        if power is None or speed is None:
            return
        begin_s, end_s = max(power.first_s, speed.first_s), min(power.last_s, speed.last_s)
        forgotten_s = max(power.forgotten_s, speed.forgotten_s)
        if (power, speed) != self._meters:
            # What was counted by some of them goes on, if the others cannot be asked any more.
            if begin_s >= forgotten_s or not _goes_on(self._meters, (power, speed)):
                self.first = None
            self._meters = power, speed
        if self.first is None:
            begin_s = max(begin_s, forgotten_s)
        if self.first is None and begin_s <= min(end_s, speed.track.settled_s):
            self.first = _point(power, speed, begin_s, at_start=True)
        # Where one has long been silent the other no longer remembers that time: the last holds.
        if self.first is not None and end_s >= max(power.forgotten_s, begin_s):
            self.last = _point(power, speed, end_s, at_start=False)

    def since(self, begin: Point | None) -> Stretch | None:
        """Return the stretch from a point to the last one, None where there is none."""
        if begin is None or self.last is None or self.last.t_s <= begin.t_s:
            return None
        end = self.last
        energy = end.energy_wh - begin.energy_wh
        bridged = end.bridged_variance_wh2 - begin.bridged_variance_wh2
        noise = 0.0
        if self._meters is not None:
            noise = self._meters[1].noise_variance_m2(end.under_way_s - begin.under_way_s)
        return Stretch(
            end.t_s - begin.t_s,
            Spread.of_energy(energy, end.volt_hours - begin.volt_hours, bridged),
            Spread(
                end.distance_m - begin.distance_m,
                np.zeros(COUNT),
                noise + end.bridged_variance_m2 - begin.bridged_variance_m2,
            ),
        )


def _goes_on(
    before: tuple[BatterySide, DistanceMeter] | None, now: tuple[BatterySide, DistanceMeter]
) -> bool:
    """Return whether what was counted goes on: a pack that came later gave nothing until then."""
    return (
        before is not None
        and before[1] is now[1]
        and not set(before[0].every).isdisjoint(now[0].every)
    )


def _point(power: BatterySide, speed: DistanceMeter, t_s: float, *, at_start: bool) -> Point:
    times = np.array([t_s])
    return Point(
        t_s,
        float(power.at("energy_wh", times)[0]),
        float(power.at("volt_hours", times)[0]),
        speed.at_m(t_s),
        0.0 if at_start else speed.track.under_way_s,
        0.0 if at_start else power.bridged_variance_wh2,
        0.0 if at_start else speed.bridged_variance_m2,
    )
