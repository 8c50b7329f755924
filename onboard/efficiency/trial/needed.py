"""How many double runs would tell a difference."""

import math

from onboard.efficiency.common_practice import (
    WANTED_FRACTION,
    WANTED_POWER,
)
from onboard.efficiency.statistics.students_t import quantile

MOST = 200


def double_runs_each(sd_fraction: float, comparisons: int = 1) -> int | None:
    """Return how many double runs of each of two set-ups find 3 % with 80 %; None above 200.

    Parameters
    ----------
    sd_fraction
        Standard deviation of one double run.
    comparisons
        How many are made at once.

    Examples
    --------
    >>> double_runs_each(0.012), double_runs_each(0.03)
    (4, 17)
    """
    for each in range(2, MOST + 1):
        freedom = 2.0 * each - 2.0
        reach = quantile(freedom, 1.0 - 0.025 / comparisons) + quantile(freedom, WANTED_POWER)
        if reach * sd_fraction * math.sqrt(2.0 / each) <= WANTED_FRACTION:
            return each
    return None
