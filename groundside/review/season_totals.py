"""The sums of several rides. Numbers only."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from groundside.figures import Reading, reading
from onboard.efficiency.consumption import HARDLY_MOVED_M

AGREES_FRACTION = 0.02
"""A ride's Wh/km is of the part over which power and speed are known both. Where it is further than
this from energy over distance, the sums are of different parts, and their ratio says nothing."""

NONE_KNOWN = "known in none of the logs"


@dataclass(frozen=True)
class Totals:
    """The sums of several rides.

    Parameters
    ----------
    rides
        How many, each once.
    elapsed_s, moving_s, energy_wh, distance_m
        Sums over the rides in which they are known.
    wh_per_km
        Summed energy over summed distance, over the rides in which both are known over the same
        time.
    mean_speed_mps, mean_power_w
        Summed distance over summed time under way, summed energy over summed time.
    without
        How many rides do not know their energy or their distance; and for `wh_per_km` how many
        know both, but not over the same time.
    repeated
        Places of rides that were given before already.

    Notes
    -----
    What is wrong with the gain of a craft's sensors is wrong in all of its rides, and does not
    average out. So half widths of 95 % intervals are added as they are, not their squares: that
    is exact for what all rides share and too wide for what they do not.
    """

    rides: int
    elapsed_s: Reading
    moving_s: Reading
    energy_wh: Reading
    distance_m: Reading
    wh_per_km: Reading
    mean_speed_mps: Reading
    mean_power_w: Reading
    without: dict[str, int]
    repeated: tuple[int, ...]


def totals(results: Sequence[dict[str, Any]]) -> Totals:
    """Sum up rides.

    Parameters
    ----------
    results
        Their reviews. Of two that are equal in all, one counts: the same log given twice.
    """
    kept: list[dict[str, Any]] = []
    repeated = []
    for place, result in enumerate(results):
        if result in kept:
            repeated.append(place)
        else:
            kept.append(result)
    rides = [_Ride.of(result) for result in kept]
    together = [ride for ride in rides if ride.counts_together]
    moving = [ride for ride in rides if ride.distance_m.value is not None]
    powered = [ride for ride in rides if ride.energy_wh.value is not None]
    return Totals(
        rides=len(rides),
        elapsed_s=_sum([ride.elapsed_s for ride in rides]),
        moving_s=_sum([ride.moving_s for ride in rides]),
        energy_wh=_sum([ride.energy_wh for ride in rides]),
        distance_m=_sum([ride.distance_m for ride in rides]),
        wh_per_km=_consumption(together),
        mean_speed_mps=_rate(
            _sum([ride.distance_m for ride in moving]), _sum([ride.moving_s for ride in moving])
        ),
        mean_power_w=_rate(
            _sum([ride.energy_wh for ride in powered]),
            _sum([ride.elapsed_s for ride in powered]),
            3600.0,
        ),
        without={
            "energy_wh": len(rides) - len(powered),
            "distance_m": len(rides) - len(moving),
            "wh_per_km": sum(ride in powered for ride in moving) - len(together),
        },
        repeated=tuple(repeated),
    )


@dataclass(frozen=True)
class _Ride:
    elapsed_s: Reading
    moving_s: Reading
    energy_wh: Reading
    distance_m: Reading
    wh_per_km: Reading

    @classmethod
    def of(cls, result: dict[str, Any]) -> "_Ride":
        keys = ("elapsed_s", "moving_s", "energy_wh", "distance_m", "wh_per_km")
        return cls(*(reading(result, "trip", key) for key in keys))

    @property
    def counts_together(self) -> bool:
        """Whether its energy and its distance are of the same time."""
        energy, distance, cost = self.energy_wh.value, self.distance_m.value, self.wh_per_km.value
        if energy is None or distance is None:
            return False
        if cost is None:
            return distance < HARDLY_MOVED_M
        return abs(1000.0 * energy - cost * distance) <= AGREES_FRACTION * cost * distance

    def reach_wh(self, upwards: bool) -> float:
        """Give how far its interval reaches, as energy over its distance [Wh]."""
        if self.wh_per_km.value is not None and self.distance_m.value is not None:
            return _reach(self.wh_per_km, upwards) * self.distance_m.value / 1000.0
        return _reach(self.energy_wh, upwards)


def _reach(figure: Reading, upwards: bool) -> float:
    """Give how far an interval reaches to one side, 0 where none is stated."""
    end = figure.high if upwards else figure.low
    return 0.0 if end is None or figure.value is None else abs(end - figure.value)


def _sum(figures: Sequence[Reading]) -> Reading:
    """Add up what is known; intervals with their half widths."""
    known = [(one.value, one.low, one.high) for one in figures if one.value is not None]
    if not known:
        return Reading(None, why=NONE_KNOWN)
    value = sum(one[0] for one in known)
    lows = [one[1] for one in known if one[1] is not None]
    highs = [one[2] for one in known if one[2] is not None]
    if len(lows) < len(known) or len(highs) < len(known):
        return Reading(value)
    return Reading(value, sum(lows), sum(highs))


def _consumption(rides: Sequence[_Ride]) -> Reading:
    energy, distance = (
        _sum([one.energy_wh for one in rides]),
        _sum([one.distance_m for one in rides]),
    )
    if energy.value is None or distance.value is None:
        return Reading(None, why="power and speed are not known over the same time in any log")
    if distance.value < HARDLY_MOVED_M:
        return Reading(None, why="hardly moved in any of them")
    km = distance.value / 1000.0
    value = energy.value / km
    if energy.low is None or distance.low is None:
        return Reading(value)
    below, above = (sum(one.reach_wh(up) for one in rides) / km for up in (False, True))
    return Reading(value, value - below, value + above)


def _rate(amount: Reading, time: Reading, factor: float = 1.0) -> Reading:
    if amount.value is None or not time.value:
        return Reading(None, why=amount.why or "no time has passed")
    return Reading(factor * amount.value / time.value)
