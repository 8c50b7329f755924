"""The rides of a season, and their totals."""

import math
from collections.abc import Iterable, Sequence
from pathlib import Path

from groundside.studies.sums import KNOWN_IN_NONE, add_figures
from onboard.contract.figure import Estimate, Figure, Number, Unknown
from onboard.contract.reasons import Reason
from onboard.dataclass import dataclass

NOT_READ = Unknown(Reason.NOT_READ)
TOGETHER_IN_NONE = Unknown(Reason.TOGETHER_IN_NONE)

ROUNDING_FRACTION = 1e-3
"""Tolerance of energy over distance against the ride's own interval, for gaps of seconds."""


@dataclass(frozen=True)
class Share:
    """Energy and distance of a ride with one set-up; None if unknown."""

    setup: str
    energy_wh: float | None
    distance_m: float | None


@dataclass(frozen=True)
class Sums:
    """The sums of a ride's record.

    Parameters
    ----------
    start_utc
        Start of the record, as in `review`.
    duration_s
        Duration of the record [s].
    elapsed_s, moving_s
        Time during which the craft was received, and under way [s].
    distance_m, energy_wh, wh_per_km
        Sums and consumption, with 95 % intervals.
    mean_speed_mps, max_speed_mps, mean_power_w
        As defined for a trip.
    shares
        By set-up, in the order ridden; their sums are energy and distance.
    """

    start_utc: str | Unknown = NOT_READ
    duration_s: Number = NOT_READ
    elapsed_s: Number = NOT_READ
    moving_s: Number = NOT_READ
    distance_m: Estimate = NOT_READ
    energy_wh: Estimate = NOT_READ
    wh_per_km: Estimate = NOT_READ
    mean_speed_mps: Number = NOT_READ
    max_speed_mps: Number = NOT_READ
    mean_power_w: Number = NOT_READ
    shares: tuple[Share, ...] = ()


@dataclass(frozen=True)
class SeasonRide:
    """A ride as listed.

    Parameters
    ----------
    path
        A session's folder, or a log.
    sums
        Sums of its record; empty with `problem`.
    label
        The rider's name for it; empty if none.
    is_open
        Whether its record was not closed: it is still being written, or was cut off.
    problem
        Why its record cannot be read; None if it can.
    """

    path: Path
    sums: Sums = Sums()
    label: str = ""
    is_open: bool = False
    problem: str | None = None

    @property
    def name(self) -> str:
        """Name of the folder or file."""
        return self.path.name

    @property
    def setups(self) -> tuple[str, ...]:
        """The set-ups used, each once, in order."""
        return tuple(dict.fromkeys(share.setup for share in self.sums.shares))


@dataclass(frozen=True)
class SeasonTotals:
    """Totals of several rides.

    Parameters
    ----------
    rides
        Number of rides.
    duration_s
        Total duration of the readable records.
    distance_m, energy_wh
        Sums over the rides in which they are known; intervals as from `add_figures`.
    wh_per_km
        Ratio of the sums over the rides with both known for the same stretch.
    rides_in_ratio
        Number of those.
    """

    rides: int
    duration_s: float
    distance_m: Estimate
    energy_wh: Estimate
    wh_per_km: Estimate
    rides_in_ratio: int


@dataclass(frozen=True)
class SetupTotals:
    """Totals of one set-up; plain numbers, as parts of rides have no intervals.

    Parameters
    ----------
    setup
        The set-up's label.
    rides
        Number of rides in which it was used.
    distance_m, energy_wh
        Sums over the parts in which they are known.
    wh_per_km
        Ratio of the sums over the parts with both known.
    """

    setup: str
    rides: int
    distance_m: Number
    energy_wh: Number
    wh_per_km: Number


def totals(rides: Sequence[SeasonRide]) -> SeasonTotals:
    """Return the totals of rides.

    Examples
    --------
    >>> sums = Sums(distance_m=Figure(2000.0, 1990.0, 2010.0), energy_wh=Figure(80.0, 78.0, 82.0))
    >>> totals([SeasonRide(Path("a"), sums), SeasonRide(Path("b"))]).wh_per_km.value
    40.0
    """
    known = [ride.sums for ride in rides]
    both = [sums for sums in known if _same_stretch(sums)]
    return SeasonTotals(
        len(rides),
        math.fsum(sums.duration_s for sums in known if not isinstance(sums.duration_s, Unknown)),
        add_figures(sums.distance_m for sums in known),
        add_figures(sums.energy_wh for sums in known),
        _ratio(
            add_figures(sums.energy_wh for sums in both),
            add_figures(sums.distance_m for sums in both),
        ),
        len(both),
    )


def setup_totals(rides: Iterable[SeasonRide]) -> list[SetupTotals]:
    """Return the totals of each set-up, that with the longest distance first."""
    shares: dict[str, list[Share]] = {}
    used: dict[str, int] = {}
    for ride in rides:
        for setup in ride.setups:
            used[setup] = used.get(setup, 0) + 1
        for share in ride.sums.shares:
            shares.setdefault(share.setup, []).append(share)
    found = [_setup_totals(setup, used[setup], some) for setup, some in shares.items()]
    return sorted(found, key=_longest_first)


def _longest_first(one: SetupTotals) -> tuple[float, str]:
    return 0.0 if isinstance(one.distance_m, Unknown) else -one.distance_m, one.setup


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
        math.fsum(distances) if distances else KNOWN_IN_NONE,
        math.fsum(energies) if energies else KNOWN_IN_NONE,
        used_wh / made_m * 1e3 if made_m > 0.0 else TOGETHER_IN_NONE,
    )


def _same_stretch(sums: Sums) -> bool:
    """Return whether energy and distance cover one stretch: else their ratio is meaningless."""
    energy, distance, own = sums.energy_wh, sums.distance_m, sums.wh_per_km
    if isinstance(energy, Unknown) or isinstance(distance, Unknown):
        return False
    if isinstance(own, Unknown) or own.low is None or own.high is None:
        return True
    ratio = energy.value * 1e3
    room = 1.0 + ROUNDING_FRACTION
    return own.low / room * distance.value <= ratio <= own.high * room * distance.value


def _ratio(energy_wh: Estimate, distance_m: Estimate) -> Estimate:
    """Return Wh/km with the widest interval; unknown if the craft may not have moved at all."""
    if isinstance(energy_wh, Unknown) or isinstance(distance_m, Unknown):
        return TOGETHER_IN_NONE
    if not distance_m.value > 0.0:
        return Unknown(Reason.HARDLY_MOVED_IN_ANY)
    value = energy_wh.value / distance_m.value * 1e3
    if energy_wh.low is None or distance_m.low is None or not distance_m.low > 0.0:
        return Figure(value)
    assert energy_wh.high is not None
    assert distance_m.high is not None
    least, most = energy_wh.low / distance_m.high, energy_wh.high / distance_m.low
    return Figure(value, least * 1e3, most * 1e3)
