"""A plan ready to be written: the way, and the rows and limits of each pack."""

from collections.abc import Mapping
from dataclasses import field

from groundside.studies.pack_supply import Packs
from groundside.studies.plan import PlanRow, best_row
from groundside.studies.trip_practice import SURE_FRACTION
from groundside.studies.way_ahead import Way
from onboard.contract.figure import Unknown
from onboard.dataclass import dataclass


@dataclass(frozen=True)
class PlannedPack:
    """The plan with one pack, or with several of a kind.

    Parameters
    ----------
    packs
        The packs.
    rows
        The speeds.
    leave_with
        By chance of arriving: the least charge at the start, at the best speed; None if there is
        none.
    turn_round_m
        By chance of arriving: the furthest point of a way there and back [m], at the best speed.
    """

    packs: Packs
    rows: tuple[PlanRow, ...] | Unknown
    leave_with: Mapping[float, float | None] = field(default_factory=dict)
    turn_round_m: Mapping[float, float] = field(default_factory=dict)

    @property
    def arrives(self) -> bool:
        """Whether a learned speed arrives above the reserve with enough confidence."""
        if isinstance(self.rows, Unknown):
            return False
        best = best_row(self.rows)
        return best.arrive_fraction >= SURE_FRACTION and not best.extrapolated


@dataclass(frozen=True)
class Planned:
    """A plan.

    Parameters
    ----------
    way
        The trip.
    source
        Source of the curve, in words.
    is_over_ground
        Whether its speeds are over ground, in the water as it was on the rides.
    packs
        One for each pack to compare.
    """

    way: Way
    source: str
    is_over_ground: bool
    packs: tuple[PlannedPack, ...]
