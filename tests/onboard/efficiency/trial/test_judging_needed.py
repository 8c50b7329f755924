"""Double runs needed, against the power of the t-test by scipy."""

import math

import pytest
from scipy import stats

from onboard.efficiency.trial.judging import DOUBLE_RUNS_MOST, double_runs_each


def found_by_t_test(each: int, sd: float, comparisons: int) -> float:
    """Return the chance that a t-test finds 3 %, by the noncentral t distribution."""
    freedom = 2 * each - 2
    reach = stats.t.ppf(1.0 - 0.025 / comparisons, freedom)
    return float(stats.nct.sf(reach, freedom, 0.03 / (sd * math.sqrt(2.0 / each))))


@pytest.mark.parametrize("sd", [0.005, 0.01, 0.012, 0.015, 0.02, 0.03, 0.05])
@pytest.mark.parametrize("comparisons", [1, 3, 6])
def test_the_number_needed_finds_the_difference_and_fewer_do_not(
    sd: float, comparisons: int
) -> None:
    each = double_runs_each(sd, comparisons)
    assert each is not None
    assert found_by_t_test(each, sd, comparisons) > 0.74
    if each > 3:
        assert found_by_t_test(each - 2, sd, comparisons) < 0.8


def test_none_beyond_two_hundred() -> None:
    assert double_runs_each(1.0) is None
    assert (double_runs_each(0.1) or 0) <= DOUBLE_RUNS_MOST
    assert double_runs_each(1e-9) == 2
