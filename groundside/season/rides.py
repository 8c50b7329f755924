"""What is known of one ride of the season, and what several come to together."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from onboard.contract.figure import Figure

ROUNDING_FRACTION = 1e-3
"""By so much energy over distance may stand outside the ride's own interval: gaps of seconds."""


@dataclass(frozen=True)
class Share:
    """What a ride used and made with one set-up, None where that is not known."""

    setup: str
    energy_wh: float | None
    distance_m: float | None


@dataclass(frozen=True)
class Sums:
    """What a ride's record comes to; None is unknown, `why` then says why.

    Parameters
    ----------
    start_utc
        When the record begins, as `review` says it.
    duration_s
        How long the record lasts [s].
    elapsed_s, moving_s
        How long the craft was heard, and how long it was under way [s].
    distance_m, energy_wh, wh_per_km
        With their 95 % intervals.
    mean_speed_mps, max_speed_mps, mean_power_w
        As defined for a trip.
    shares
        By set-up, in the order in which they were ridden; together they are energy and distance.
    why
        Reasons, by the name of what is unknown.
    """

    start_utc: str | None = None
    duration_s: float | None = None
    elapsed_s: float | None = None
    moving_s: float | None = None
    distance_m: Figure | None = None
    energy_wh: Figure | None = None
    wh_per_km: Figure | None = None
    mean_speed_mps: float | None = None
    max_speed_mps: float | None = None
    mean_power_w: float | None = None
    shares: tuple[Share, ...] = ()
    why: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class SeasonRide:
    """A ride as it is listed.

    Parameters
    ----------
    path
        A session's folder, or a log.
    sums
        What its record comes to; with `problem`, nothing.
    label
        What the rider called it at home, empty without.
    is_open
        Whether its record was not closed: it goes on, or was cut off.
    problem
        Why its record cannot be read, None where it can.
    """

    path: Path
    sums: Sums = Sums()
    label: str = ""
    is_open: bool = False
    problem: str | None = None

    @property
    def name(self) -> str:
        """Give the name of folder or file."""
        return self.path.name

    @property
    def setups(self) -> tuple[str, ...]:
        """Give the set-ups ridden, each once, in order."""
        return tuple(dict.fromkeys(share.setup for share in self.sums.shares))


@dataclass(frozen=True)
class Totals:
    """What several rides come to together.

    Parameters
    ----------
    rides
        How many.
    distance_m, energy_wh
        Sums over the rides that know them; None where none does. The interval is the widest that
        can be: as if all erred alike.
    wh_per_km
        Energy over distance, a ratio of sums over the rides that know both for the same stretch.
    rides_in_ratio
        How many those are.
    """

    rides: int
    duration_s: float
    distance_m: Figure | None
    energy_wh: Figure | None
    wh_per_km: Figure | None
    rides_in_ratio: int


@dataclass(frozen=True)
class SetupTotals:
    """What was ridden with one set-up; plain numbers, for parts of rides have no interval.

    Parameters
    ----------
    setup
        Its label.
    rides
        In how many rides it was used.
    distance_m, energy_wh
        Sums over the parts that know them, None where none does.
    wh_per_km
        A ratio of sums over the parts that know both.
    """

    setup: str
    rides: int
    distance_m: float | None
    energy_wh: float | None
    wh_per_km: float | None


def totals(rides: Sequence[SeasonRide]) -> Totals:
    """Sum rides up.

    Examples
    --------
    >>> sums = Sums(distance_m=Figure(2000.0, 1990.0, 2010.0), energy_wh=Figure(80.0, 78.0, 82.0))
    >>> totals([SeasonRide(Path("a"), sums), SeasonRide(Path("b"))]).wh_per_km.value
    40.0
    """
    known = [ride.sums for ride in rides]
    both = [sums for sums in known if _same_stretch(sums)]
    return Totals(
        len(rides),
        math.fsum(sums.duration_s or 0.0 for sums in known),
        _sum(sums.distance_m for sums in known),
        _sum(sums.energy_wh for sums in known),
        _ratio(_sum(sums.energy_wh for sums in both), _sum(sums.distance_m for sums in both)),
        len(both),
    )


def setup_totals(rides: Iterable[SeasonRide]) -> list[SetupTotals]:
    """Sum rides up by set-up, the longest ridden first."""
    shares: dict[str, list[Share]] = {}
    used: dict[str, int] = {}
    for ride in rides:
        for setup in ride.setups:
            used[setup] = used.get(setup, 0) + 1
        for share in ride.sums.shares:
            shares.setdefault(share.setup, []).append(share)
    found = [_setup_totals(setup, used[setup], some) for setup, some in shares.items()]
    return sorted(found, key=lambda one: (-(one.distance_m or 0.0), one.setup))


def _setup_totals(setup: str, rides: int, shares: list[Share]) -> SetupTotals:
    energies = [share.energy_wh for share in shares if share.energy_wh is not None]
    distances = [share.distance_m for share in shares if share.distance_m is not None]
    both = [
        (share.energy_wh, share.distance_m)
        for share in shares
        if share.energy_wh is not None and share.distance_m is not None
    ]
    made_m = math.fsum(distance_m for _, distance_m in both)
    used_wh = math.fsum(energy_wh for energy_wh, _ in both)
    return SetupTotals(
        setup,
        rides,
        math.fsum(distances) if distances else None,
        math.fsum(energies) if energies else None,
        used_wh / made_m * 1e3 if made_m > 0.0 else None,
    )


def _same_stretch(sums: Sums) -> bool:
    """Tell whether energy and distance are of one stretch: else their ratio would say nothing."""
    energy, distance, own = sums.energy_wh, sums.distance_m, sums.wh_per_km
    if energy is None or distance is None:
        return False
    if own is None or own.low is None or own.high is None:
        return True
    ratio = energy.value * 1e3
    room = 1.0 + ROUNDING_FRACTION
    return own.low / room * distance.value <= ratio <= own.high * room * distance.value


def _sum(figures: Iterable[Figure | None]) -> Figure | None:
    known = [figure for figure in figures if figure is not None]
    if not known:
        return None
    lows = [one.value if one.low is None else one.low for one in known]
    highs = [one.value if one.high is None else one.high for one in known]
    return Figure(math.fsum(one.value for one in known), math.fsum(lows), math.fsum(highs))


def _ratio(energy_wh: Figure | None, distance_m: Figure | None) -> Figure | None:
    """Give Wh/km with the widest interval; none where the craft may not have moved at all."""
    if energy_wh is None or distance_m is None or not distance_m.value > 0.0:
        return None
    value = energy_wh.value / distance_m.value * 1e3
    least_m, most_m = distance_m.low or 0.0, distance_m.high or 0.0
    if not (least_m > 0.0 and most_m > 0.0):
        return Figure(value)
    assert energy_wh.low is not None
    assert energy_wh.high is not None
    return Figure(value, energy_wh.low / most_m * 1e3, energy_wh.high / least_m * 1e3)
