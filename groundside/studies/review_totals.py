"""Totals of several reviews. Numbers only."""

from collections.abc import Sequence

from groundside.studies.review_result import Review
from groundside.studies.sums import add_figures, add_numbers
from onboard.contract.figure import Estimate, Figure, Number, Unknown
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import Trip
from onboard.dataclass import dataclass
from onboard.efficiency.common_practice import HARDLY_MOVED_M

AGREES_FRACTION = 0.02
"""Tolerance between a ride's Wh/km, which covers the part with both power and speed known, and
energy over distance. If they differ by more, the sums cover different parts and their ratio is
meaningless."""


@dataclass(frozen=True)
class Totals:
    """Totals of several rides.

    Parameters
    ----------
    rides
        Number of rides, each counted once.
    elapsed_s, moving_s, energy_wh, distance_m
        Sums over the rides in which they are known; intervals as from `add_figures`.
    wh_per_km
        Summed energy over summed distance, of the rides in which both are known for the same time.
    mean_speed_mps, mean_power_w
        Summed distance over summed time under way, summed energy over summed time.
    without
        Number of rides with unknown energy or distance; for `wh_per_km`, of those with both known,
        but not for the same time.
    repeated
        Indices of rides that repeat an earlier one.
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
        Reviews of the rides' logs. Identical ones, of a log given twice, count once.
    """
    counted: list[Review] = []
    repeated = []
    for place, review in enumerate(reviews):
        if review in counted:
            repeated.append(place)
        else:
            counted.append(review)
    rides = [review.trip for review in counted]
    joint = [known for ride in rides if (known := _joint_sums(ride)) is not None]
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
        wh_per_km=_consumption(joint),
        mean_speed_mps=_rate(distance, add_numbers(ride.moving_s for ride in moving)),
        mean_power_w=_rate(energy, add_numbers(ride.elapsed_s for ride in powered), 3600.0),
        without={
            "energy_wh": len(rides) - len(powered),
            "distance_m": len(rides) - len(moving),
            "wh_per_km": sum(ride in powered for ride in moving) - len(joint),
        },
        repeated=tuple(repeated),
    )


@dataclass(frozen=True)
class _JointSums:
    """Energy and distance of a ride, if both cover the same time."""

    energy_wh: Figure
    distance_m: Figure
    wh_per_km: Estimate

    def reach_wh(self, upwards: bool) -> float:
        """Return the half width of the consumption's interval, times the distance [Wh]."""
        if isinstance(self.wh_per_km, Figure):
            return _reach(self.wh_per_km, upwards) * self.distance_m.value / 1000.0
        return _reach(self.energy_wh, upwards)


def _joint_sums(ride: Trip) -> _JointSums | None:
    energy, distance, cost = ride.energy_wh, ride.distance_m, ride.wh_per_km
    if isinstance(energy, Unknown) or isinstance(distance, Unknown):
        return None
    if isinstance(cost, Unknown):
        agrees = distance.value < HARDLY_MOVED_M
    else:
        own_wh_m = cost.value * distance.value
        agrees = abs(1000.0 * energy.value - own_wh_m) <= AGREES_FRACTION * own_wh_m
    return _JointSums(energy, distance, cost) if agrees else None


def _reach(figure: Figure, upwards: bool) -> float:
    """Return the half width of an interval to one side; 0 without an interval."""
    if figure.low is None or figure.high is None:
        return 0.0
    return abs((figure.high if upwards else figure.low) - figure.value)


def _consumption(rides: Sequence[_JointSums]) -> Estimate:
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
