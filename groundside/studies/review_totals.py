"""The sums of several rides. Numbers only."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from groundside.studies.review_result import Review
from onboard.contract.figure import Estimate, Figure, Number, Unknown
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import Trip
from onboard.efficiency.common_practice import HARDLY_MOVED_M

AGREES_FRACTION = 0.02
"""A ride's Wh/km is of the part over which power and speed are known both. Where it is further than
this from energy over distance, the sums are of different parts, and their ratio says nothing."""


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
    elapsed_s: Number
    moving_s: Number
    energy_wh: Estimate
    distance_m: Estimate
    wh_per_km: Estimate
    mean_speed_mps: Number
    mean_power_w: Number
    without: dict[str, int]
    repeated: tuple[int, ...]


def totals(reviews: Sequence[Review]) -> Totals:
    """Sum up rides.

    Parameters
    ----------
    reviews
        What their logs come to. Of two that are equal in all, one counts: the same log given twice.
    """
    kept: list[Review] = []
    repeated = []
    for place, review in enumerate(reviews):
        if review in kept:
            repeated.append(place)
        else:
            kept.append(review)
    rides = [review.trip for review in kept]
    together = [known for ride in rides if (known := _together(ride)) is not None]
    moving = [ride for ride in rides if isinstance(ride.distance_m, Figure)]
    powered = [ride for ride in rides if isinstance(ride.energy_wh, Figure)]
    energy, distance = (
        _sum(ride.energy_wh for ride in rides),
        _sum(ride.distance_m for ride in rides),
    )
    return Totals(
        rides=len(rides),
        elapsed_s=_added(ride.elapsed_s for ride in rides),
        moving_s=_added(ride.moving_s for ride in rides),
        energy_wh=energy,
        distance_m=distance,
        wh_per_km=_consumption(together),
        mean_speed_mps=_rate(distance, _added(ride.moving_s for ride in moving)),
        mean_power_w=_rate(energy, _added(ride.elapsed_s for ride in powered), 3600.0),
        without={
            "energy_wh": len(rides) - len(powered),
            "distance_m": len(rides) - len(moving),
            "wh_per_km": sum(ride in powered for ride in moving) - len(together),
        },
        repeated=tuple(repeated),
    )


@dataclass(frozen=True)
class _Together:
    """A ride whose energy and distance are of the same time."""

    energy_wh: Figure
    distance_m: Figure
    wh_per_km: Estimate

    def reach_wh(self, upwards: bool) -> float:
        """Return how far its interval reaches, as energy over its distance [Wh]."""
        if isinstance(self.wh_per_km, Figure):
            return _reach(self.wh_per_km, upwards) * self.distance_m.value / 1000.0
        return _reach(self.energy_wh, upwards)


def _together(ride: Trip) -> _Together | None:
    energy, distance, cost = ride.energy_wh, ride.distance_m, ride.wh_per_km
    if isinstance(energy, Unknown) or isinstance(distance, Unknown):
        return None
    if isinstance(cost, Unknown):
        agrees = distance.value < HARDLY_MOVED_M
    else:
        own_wh_m = cost.value * distance.value
        agrees = abs(1000.0 * energy.value - own_wh_m) <= AGREES_FRACTION * own_wh_m
    return _Together(energy, distance, cost) if agrees else None


def _reach(figure: Figure, upwards: bool) -> float:
    """Return how far an interval reaches to one side, 0 where none is stated."""
    if figure.low is None or figure.high is None:
        return 0.0
    return abs((figure.high if upwards else figure.low) - figure.value)


def _added(numbers: Iterable[Number]) -> Number:
    known = [one for one in numbers if not isinstance(one, Unknown)]
    return sum(known) if known else Unknown(Reason.KNOWN_IN_NONE)


def _sum(figures: Iterable[Estimate]) -> Estimate:
    """Add up what is known; intervals with their half widths."""
    known = [one for one in figures if isinstance(one, Figure)]
    if not known:
        return Unknown(Reason.KNOWN_IN_NONE)
    value = sum(one.value for one in known)
    lows = [one.low for one in known if one.low is not None]
    highs = [one.high for one in known if one.high is not None]
    if len(lows) < len(known) or len(highs) < len(known):
        return Figure(value)
    return Figure(value, sum(lows), sum(highs))


def _consumption(rides: Sequence[_Together]) -> Estimate:
    energy, distance = _sum(one.energy_wh for one in rides), _sum(one.distance_m for one in rides)
    if isinstance(energy, Unknown) or isinstance(distance, Unknown):
        return Unknown(Reason.TOGETHER_IN_NONE)
    if distance.value < HARDLY_MOVED_M:
        return Unknown(Reason.HARDLY_MOVED_IN_ANY)
    km = distance.value / 1000.0
    value = energy.value / km
    if energy.low is None or distance.low is None:
        return Figure(value)
    below, above = (sum(one.reach_wh(up) for one in rides) / km for up in (False, True))
    return Figure(value, value - below, value + above)


def _rate(amount: Estimate, time_s: Number, factor: float = 1.0) -> Number:
    if isinstance(amount, Unknown):
        return amount
    if isinstance(time_s, Unknown) or not time_s > 0.0:
        return Unknown(Reason.NO_TIME)
    return factor * amount.value / time_s
