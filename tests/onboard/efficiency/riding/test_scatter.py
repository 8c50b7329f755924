"""The mean of blocks and its variance, against simulated first-order autocorrelation."""

import numpy as np
import pytest
from scipy import signal

from onboard.efficiency.riding.common_practice import RIDING_CORRELATION, RIDING_SD_FRACTION
from onboard.efficiency.riding.scatter import LogMean, Scatter, log_mean


def correlated(r: float, sd: float, shape: tuple[int, int], seed: int = 4) -> np.ndarray:
    """Return rides of blocks with a first-order autocorrelation r."""
    noise = np.random.default_rng(seed).normal(size=(shape[0], shape[1] + 50))
    return sd * (1 - r**2) ** 0.5 * signal.lfilter([1.0], [1.0, -r], noise)[:, 50:]


@pytest.mark.parametrize("r", [0.0, 0.5, 0.8])
def test_the_mean_to_come_scatters_as_in_simulation(r: float) -> None:
    means = correlated(r, 0.06, (20_000, 200)).mean(axis=1)
    assert Scatter(0.0, 0.06**2, r).to_come(2000.0) == pytest.approx(means.var(), rel=0.06)


@pytest.mark.parametrize("r", [0.2, 0.6])
def test_the_variance_of_a_mean_is_that_of_many_rides(r: float) -> None:
    rides = correlated(r, 0.06, (300, 200))
    found = [log_mean(ride) for ride in rides]
    claimed = np.median([one.scatter.mean_variance for one in found])
    seen = np.var([one.value for one in found])
    # Never less than it is, nor much more.
    assert 0.8 * seen < claimed < 1.8 * seen
    correlation = np.median([one.scatter.correlation for one in found])
    assert correlation == pytest.approx(r, abs=0.06)


def test_a_single_block_scatters_as_guessed() -> None:
    found = log_mean(np.array([0.7])).scatter
    assert found.block_variance == pytest.approx(RIDING_SD_FRACTION**2)
    assert found.correlation == pytest.approx(RIDING_CORRELATION)
    assert found.mean_variance == pytest.approx(RIDING_SD_FRACTION**2)


def test_blocks_of_a_settling_craft_count_less() -> None:
    values, settling_sd = np.array([1.0, 0.0, 0.0]), np.array([0.35, 0.0, 0.0])
    settled, settling = log_mean(values), log_mean(values, settling_sd)
    # Weights of inverse variance: 1 / (1 + (0.35 / 0.06)^2) beside two of 1.
    assert settling.value == pytest.approx(0.02855 / 2.02855, rel=1e-3)
    assert settled.value == pytest.approx(1 / 3)


def test_a_change_that_only_the_newest_blocks_show_may_last() -> None:
    noise = correlated(0.2, 0.02, (1, 60))[0]
    changed = noise + np.where(np.arange(60) >= 57, 0.3, 0.0)
    steady, doubtful = log_mean(noise), log_mean(changed)
    apart = changed[-3:].mean() - doubtful.value
    assert doubtful.scatter.mean_variance**0.5 == pytest.approx(apart, rel=0.25)
    assert steady.scatter.mean_variance**0.5 < 0.01


def test_two_estimates_are_weighted_by_their_inverse_variances() -> None:
    # Of two normal densities multiplied: precisions add up.
    found = LogMean(1.0, Scatter(0.04, 0.0, 0.0)).drawn_to(2.0, 0.01)
    assert found.value == pytest.approx((1 / 0.04 + 2 / 0.01) / (1 / 0.04 + 1 / 0.01))
    assert found.scatter.mean_variance == pytest.approx(1 / (1 / 0.04 + 1 / 0.01))
