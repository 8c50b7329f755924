"""Riding to and fro: whether it is a habit, and what turning round does.

A craft that has turned round again and again will do so, and both directions then count for the
same distance, however long the present leg is. What the other direction takes is measured where it
was ridden as now; where it was not yet, earlier turns tell by how much power and consumption
changed with them.
"""

import itertools
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray
from onboard.efficiency.riding.common_practice import (
    CHANCES,
    LEG_COURSE_DEG,
    RECIPROCAL_DEG,
    TURN_SD_FRACTION,
)

LEG_BLOCKS_LEAST, TURNS_MOST = 3, 8
"""Blocks of a leg, and turns looked back on."""

NEAR_TURN, SETTLING = 6, 2
"""Blocks compared on either side of a turn, and those left out right after it."""

Indices = npt.NDArray[np.int64]


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


def turning(blocks: FloatArray) -> Turning | None:
    """Return what turning round does; None where the craft did not come back on its course.

    Parameters
    ----------
    blocks
        As in `present_riding`, shape (n, 7), oldest first.
    """
    legs = _legs(np.arctan2(blocks[:, 3], blocks[:, 4]))[-TURNS_MOST - 1 :]
    courses = [_mean_course(blocks[leg]) for leg in legs]
    reciprocal = np.radians(RECIPROCAL_DEG)
    back = [_apart(a, b) > np.pi - reciprocal for a, b in itertools.pairwise(courses)]
    turns = next((n for n, turned in enumerate(back[::-1]) if not turned), len(back))
    if turns == 0:
        return None
    # One that has gone straight on for much longer than before is no longer on its way back.
    longest = max(len(leg) for leg in legs[-1 - turns : -1])
    chance = CHANCES[min(turns, len(CHANCES)) - 1] if len(legs[-1]) < 2 * longest else 0.0
    ln_power = np.log(np.maximum(blocks[:, 0], 1e-3))
    ln_cost = ln_power - np.log(blocks[:, 1])
    changes = []
    for n in range(len(legs) - 1 - turns, len(legs) - 1):
        before, after = legs[n][-NEAR_TURN:], legs[n + 1][SETTLING:][:NEAR_TURN]
        # From the present direction to the other one.
        sign = 1.0 if (len(legs) - 1 - n) % 2 == 0 else -1.0
        if len(after):
            changes.append(
                [sign * float(v[after].mean() - v[before].mean()) for v in (ln_power, ln_cost)]
            )
    if not changes or not chance:
        return None
    each = np.array(changes)
    spread = float(((each - each.mean(axis=0)) ** 2).sum() / max(len(each) - 1, 1)) / 2
    mean = each.mean(axis=0)
    variance = (TURN_SD_FRACTION**2 + spread) / len(each)
    return Turning(chance, float(mean[0]), float(mean[1]), variance)


def _legs(course_rad: FloatArray) -> list[Indices]:
    """Return the indices of each leg's blocks, in order: legs of a few blocks, and the present."""
    legs: list[list[int]] = [[]]
    east = north = 0.0
    for n, course in enumerate(course_rad.tolist()):
        if legs[-1] and _apart(course, float(np.arctan2(east, north))) > np.radians(LEG_COURSE_DEG):
            legs.append([])
            east = north = 0.0
        legs[-1].append(n)
        east, north = east + np.sin(course), north + np.cos(course)
    long = [leg for leg in legs[:-1] if len(leg) >= LEG_BLOCKS_LEAST]
    return [np.array(leg, np.int64) for leg in (*long, legs[-1])]


def _mean_course(blocks: FloatArray) -> float:
    east, north = blocks[:, 3:5].mean(axis=0).tolist()
    return float(np.arctan2(east, north))


def _apart(a: float, b: float) -> float:
    return float(abs((a - b + np.pi) % (2 * np.pi) - np.pi))
