"""Outliers among double runs."""

import numpy as np
import pytest

from onboard.efficiency.trial.outlier import Scatter, outlier


def scatter(values: np.ndarray, setups: int = 2, usual: float = 0.012) -> Scatter:
    """Return the residuals of values about the means of set-ups that took turns."""
    setup = np.arange(len(values)) % setups
    means = np.array([values[setup == n].mean() for n in range(setups)])
    leverage = 1.0 / np.bincount(setup)[setup]
    return Scatter(values - means[setup], leverage, len(values) - setups, usual)


@pytest.mark.parametrize("count", [8, 12])
@pytest.mark.parametrize("place", [0, 3, 7])
def test_a_run_with_weed_is_found(count: int, place: int) -> None:
    values = 0.01 * np.random.default_rng(5).standard_normal(count)
    values[place] -= 0.12
    assert outlier([scatter(values)]) == place


def test_sound_runs_are_seldom_taken_for_outliers() -> None:
    rng = np.random.default_rng(1)
    taken = sum(outlier([scatter(0.012 * rng.standard_normal(8))]) is not None for _ in range(1000))
    # One in a hundred is meant; twice the binomial's 97.5 % for that would be 33.
    assert taken <= 25


def test_with_wide_scatter_no_run_is_an_outlier() -> None:
    rng = np.random.default_rng(2)
    taken = sum(outlier([scatter(0.05 * rng.standard_normal(8))]) is not None for _ in range(500))
    assert taken <= 25


def test_among_few_none_is_an_outlier() -> None:
    assert outlier([Scatter(np.array([0.5, -0.01, 0.0]), np.full(3, 0.4), 2, 0.012)]) is None
    assert outlier([Scatter(np.array([0.5, -0.01, 0.0, 0.0]), np.full(4, 0.4), 2, 0.012)]) == 0
    assert outlier([]) is None
    assert outlier([Scatter(np.array([0.2, -0.2, 0.0, 0.0]), np.full(4, 0.5), 1, 0.012)]) is None


def test_a_run_with_full_leverage_is_not_an_outlier() -> None:
    # Alone in its set-up, a value lies on its own fit.
    residual = np.array([0.0, 0.005, -0.005, 0.004, -0.004])
    leverage = np.array([1.0, 0.25, 0.25, 0.25, 0.25])
    assert outlier([Scatter(residual, leverage, 3, 0.012)]) is None


def test_being_off_in_two_respects_adds_up() -> None:
    values = 0.008 * np.array([1, -1, 1, 1, -1, -1, -1, 1], float)
    values[2] -= 0.052
    one = scatter(values)
    assert outlier([one]) is None
    assert outlier([one, scatter(values.copy())]) == 2
