"""The limits of a trip at one speed: the least charge to leave with, and where to turn round."""

from collections.abc import Callable

import numpy as np

from groundside.studies.pack_supply import Packs, Supply
from groundside.studies.plan import Knowledge, rows_at
from groundside.studies.way_ahead import Way

FURTHEST_M = 1e7
"""Length beyond which no way is tried [m]."""


def leave_with_fraction(
    knowledge: Knowledge, packs: Packs, way: Way, through_mps: float, chance: float
) -> float | None:
    """Return the least charge at the start that arrives, as a share of full; None if none does.

    Parameters
    ----------
    knowledge, packs
        What is known of the craft, and its packs.
    way, through_mps
        The way ahead, and the speed.
    chance
        Probability of arriving above the reserve.
    """

    def arrives(fraction: float) -> bool:
        return _chance_at(knowledge, packs.supply(fraction), way, through_mps) >= chance

    if not arrives(1.0):
        return None
    return 1.0 - _last(lambda spared: arrives(1.0 - spared), 0.0, 1.0, 5e-4)


def turn_round_m(
    knowledge: Knowledge, supply: Supply, way: Way, through_mps: float, chance: float
) -> float:
    """Return the furthest point from which a way there and back still arrives [m].

    Parameters
    ----------
    knowledge, supply
        What is known of the craft, and the battery.
    way, through_mps
        The way ahead, which goes on like its last leg beyond its end; and the speed.
    chance
        Probability of arriving above the reserve.
    """

    def arrives(out_m: float) -> bool:
        turned = way.turned_at(out_m)
        return _chance_at(knowledge, supply, turned, through_mps) >= chance

    low_m, high_m = 0.0, 1.0
    while high_m < FURTHEST_M and arrives(high_m):
        low_m, high_m = high_m, 2.0 * high_m
    return _last(arrives, low_m, high_m, 1.0)


def _chance_at(knowledge: Knowledge, supply: Supply, way: Way, through_mps: float) -> float:
    rows = rows_at(knowledge, supply, way, np.array([through_mps]))
    return rows[0].arrive_fraction if rows else 0.0


def _last(holds: Callable[[float], bool], low: float, high: float, within: float) -> float:
    """Return where a condition that holds at `low` and not at `high` last holds, by bisection."""
    while high - low > within:
        middle = (low + high) / 2.0
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low
