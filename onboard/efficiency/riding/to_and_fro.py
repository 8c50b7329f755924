"""Riding to and fro: whether it is a habit, and what turning round does.

A craft that has turned round again and again will do so, and both directions then count for the
same distance, however long the present leg is (`both_ways`). What turning round does is the mean
change over the earlier turns, of ln power and of ln consumption, brought to the present direction.
"""

import itertools
import math

import numpy as np

from onboard.block import FloatArray
from onboard.dataclass import dataclass
from onboard.efficiency.riding.common_practice import (
    CHANCES,
    RECIPROCAL_DEG,
    STRAIGHT_ON_FACTOR,
    TURN_SD_FRACTION,
)
from onboard.efficiency.riding.courses import Indices, angle, legs
from onboard.efficiency.riding.ridden_blocks import EAST, NORTH, course_rad, ln_power, ln_speed

TURNS_MOST = 8
"""Turns looked back on."""

NEAR_TURN, SETTLING = 6, 2
"""Blocks compared on either side of a turn, and those left out right after it."""


@dataclass(frozen=True)
class Turning:
    """What turning round from the present direction does.

    Parameters
    ----------
    chance
        That the craft turns round again and again.
    ln_power, ln_cost
        Change of the logarithms of power and of consumption.
    variance
        Of either.
    """

    chance: float
    ln_power: float
    ln_cost: float
    variance: float

    @property
    def is_likely(self) -> bool:
        """Whether the craft rather turns round than not."""
        return self.chance > 0.5


def turning(blocks: FloatArray) -> Turning | None:
    """Return what turning round does; None where the craft is not on its way back.

    Parameters
    ----------
    blocks
        As in `ridden_blocks`, shape (n, 7), oldest first.
    """
    ridden = legs(course_rad(blocks))[-TURNS_MOST - 1 :]
    turns = _turns_in_a_row([_mean_course(blocks[leg]) for leg in ridden])
    to_and_fro = ridden[-1 - turns :]
    if turns == 0 or _goes_straight_on(to_and_fro):
        return None
    changes = _changes(blocks, to_and_fro)
    if not len(changes):
        return None
    mean = changes.mean(axis=0)
    # Pooled over power and consumption.
    spread = float(((changes - mean) ** 2).sum() / max(len(changes) - 1, 1)) / 2
    variance = (TURN_SD_FRACTION**2 + spread) / len(changes)
    chance = CHANCES[min(turns, len(CHANCES)) - 1]
    return Turning(chance, float(mean[0]), float(mean[1]), variance)


def _turns_in_a_row(courses: list[float]) -> int:
    """Return how many of the latest turns were turns round, from the legs' courses [rad]."""
    opposite = math.pi - math.radians(RECIPROCAL_DEG)
    turned = [angle(a, b) > opposite for a, b in itertools.pairwise(courses)]
    return next((n for n, is_round in enumerate(turned[::-1]) if not is_round), len(turned))


def _goes_straight_on(to_and_fro: list[Indices]) -> bool:
    """Return whether the present leg is too long, beside those before, for one of them."""
    *before, present = to_and_fro
    return len(present) >= STRAIGHT_ON_FACTOR * max(len(leg) for leg in before)


def _changes(blocks: FloatArray, to_and_fro: list[Indices]) -> FloatArray:
    """Return what each turn changed, as one from the present direction to the other, shape (k, 2).

    Columns are ln power and ln consumption; a turn just made has settled nothing yet.
    """
    power = ln_power(blocks)
    cost = power - ln_speed(blocks)
    changes = []
    turns_back = range(len(to_and_fro) - 1, 0, -1)
    for turn, (before, after) in zip(turns_back, itertools.pairwise(to_and_fro), strict=True):
        old, new = before[-NEAR_TURN:], after[SETTLING:][:NEAR_TURN]
        if len(new):
            # The last turn led to the present direction, the one before away from it.
            sign = (-1.0) ** turn
            changes.append([sign * float(ln[new].mean() - ln[old].mean()) for ln in (power, cost)])
    return np.array(changes)


def _mean_course(blocks: FloatArray) -> float:
    east, north = blocks[:, EAST : NORTH + 1].mean(axis=0).tolist()
    return math.atan2(east, north)
