"""The part of a trip over which energy and distance are both counted, and marks along it."""

from dataclasses import dataclass, replace

import numpy as np

from onboard.efficiency.consumption import Stretch
from onboard.efficiency.distance import DistanceMeter
from onboard.efficiency.power_sources import BatterySide, PowerSources
from onboard.efficiency.shared_errors import COUNT, Spread
from onboard.efficiency.speed_sources import SpeedSources


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
        if (power, speed) != self._meters:
            self._meters = power, speed
            self.first = None
        begin_s, end_s = max(power.first_s, speed.first_s), min(power.last_s, speed.last_s)
        if self.first is None and begin_s <= min(end_s, speed.track.settled_s):
            self.first = _point(power, speed, begin_s, at_start=True)
        if self.first is None or end_s < begin_s:
            return
        if end_s >= max(power.kept_from_s, speed.kept_from_s):
            self.last = _point(power, speed, end_s, at_start=False)
        elif self.last is not None:
            # Where one has long been silent the other no longer remembers that time: sums hold.
            self.last = replace(
                self.last,
                under_way_s=speed.track.under_way_s,
                bridged_variance_wh2=power.bridged_variance_wh2,
                bridged_variance_m2=speed.bridged_variance_m2,
            )

    def since(self, begin: Point | None) -> Stretch | None:
        """Give the stretch from a point to the last one, None where there is none."""
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


class Beginnings:
    """Has every meter remember what it had counted when another one began.

    The figures may come to rest on any two of them, however late, and then count from there.
    """

    def __init__(self) -> None:
        self._begun_s: set[float] = set()

    def look(self, power: PowerSources, speed: SpeedSources) -> None:
        """Look for meters that began in the piece of the stream just folded."""
        begun = [*power.begun(), *speed.begun()]
        for begun_s in {first_s for first_s, _ in begun} - self._begun_s:
            self._begun_s.add(begun_s)
            for _, curves in begun:
                curves.remember(begun_s)
