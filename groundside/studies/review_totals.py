"""Totals of several reviews. Numbers only."""

from collections.abc import Sequence
from dataclasses import dataclass

from groundside.studies.review_result import Review
from groundside.studies.sums import add_figures, add_numbers
from onboard.contract.figure import Estimate, Figure, Number, Unknown
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import Trip
from onboard.efficiency.common_practice import HARDLY_MOVED_M

AGREES_FRACTION = 0.02
"""A ride's Wh/km is of the part over which both power and speed are known. If it differs by more
than this from energy over distance, the sums are of different parts and their ratio is
meaningless."""


@dataclass(frozen=True)
class Totals:
    """Totals of several rides.

    Parameters
    ----------
    rides
        Number of rides, each counted once.
    elapsed_s, moving_s, energy_wh, distance_m
        Sums over the rides in which they are known; intervals as of `add_figures`.
    wh_per_km
        Summed energy over summed distance, over the rides in which both are known over the same
        time.
    mean_speed_mps, mean_power_w
        Summed distance over summed time under way, summed energy over summed time.
    without
        Number of rides that do not know their energy or their distance; and for `wh_per_km` of
        those that know both, but not over the same time.
    repeated
        Places of rides that were given before already.
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
        Of their logs. Of two that are equal in all, one counts: the same log given twice.
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
        add_figures(ride.energy_wh for ride in rides),
        add_figures(ride.distance_m for ride in rides),
    )
    return Totals(
        rides=len(rides),
        elapsed_s=add_numbers(ride.elapsed_s for ride in rides),
        moving_s=add_numbers(ride.moving_s for ride in rides),
        energy_wh=energy,
        distance_m=distance,
        wh_per_km=_consumption(together),
        mean_speed_mps=_rate(distance, add_numbers(ride.moving_s for ride in moving)),
        mean_power_w=_rate(energy, add_numbers(ride.elapsed_s for ride in powered), 3600.0),
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
        """Return the half width of its interval, as energy over its distance [Wh]."""
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
    """Return the half width of an interval to one side, 0 without an interval."""
    if figure.low is None or figure.high is None:
        return 0.0
    return abs((figure.high if upwards else figure.low) - figure.value)


def _consumption(rides: Sequence[_Together]) -> Estimate:
    energy, distance = (
        add_figures(one.energy_wh for one in rides),
        add_figures(one.distance_m for one in rides),
    )
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
