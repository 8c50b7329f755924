"""The mean of a riding's blocks: how well it is known, and how what is to come scatters about it.

Everything is in logarithms, whose standard deviation is a relative one. Neighbouring blocks are
alike: with r the correlation of one block with the next, the mean of n blocks is known as well as
that of n (1 - r) / (1 + r) independent ones (the effective sample size of first-order
autocorrelation). Variance and correlation are shrunk towards guesses that count as a few blocks, so
that a young riding does not pass for a steady one.

A stretch of the newest blocks whose mean is off by more than blocks scatter may be what lasts, or
may pass. Not knowing which adds to the variance of the mean.
"""

from dataclasses import replace

import numpy as np

from onboard.block import FloatArray
from onboard.dataclass import dataclass
from onboard.efficiency.riding.common_practice import (
    NEWEST,
    NEWEST_BEYOND_SD,
    RIDING_CORRELATION,
    RIDING_CORRELATION_MOST,
    RIDING_CORRELATION_WORTH,
    RIDING_SD_FRACTION,
    RIDING_SD_WORTH,
)
from onboard.efficiency.riding.ridden_blocks import BLOCK_S


@dataclass(frozen=True)
class Scatter:
    """Relative variance of a mean so far, and of the blocks to come about it.

    Parameters
    ----------
    mean_variance
        Of the mean so far.
    block_variance, correlation
        Of a block about the mean, and the correlation of neighbouring blocks.
    """

    mean_variance: float
    block_variance: float
    correlation: float

    def widened(self, variance: float) -> "Scatter":
        """Return the same with a larger variance of the mean so far."""
        return replace(self, mean_variance=self.mean_variance + variance)

    def to_come(self, ahead_s: float) -> float:
        """Return the relative variance of the mean over the next `ahead_s` [s] about the true one.

        Examples
        --------
        >>> round(Scatter(0.001, 0.004, 0.5).to_come(300.0), 6)
        0.0004
        """
        blocks = max(ahead_s, BLOCK_S) / BLOCK_S
        per_block = (1 + self.correlation) / (1 - self.correlation) / blocks
        return self.block_variance * min(per_block, 1.0)


@dataclass(frozen=True)
class LogMean:
    """The mean of a logarithm, and its scatter."""

    value: float
    scatter: Scatter

    def moved(self, by: float, variance: float) -> "LogMean":
        """Return the mean moved by an amount that is known with a variance."""
        return LogMean(self.value + by, self.scatter.widened(variance))

    def drawn_to(self, other: float, other_variance: float) -> "LogMean":
        """Return the mean of this and another estimate, weighted by their inverse variances.

        Examples
        --------
        >>> LogMean(0.2, Scatter(0.01, 0.0, 0.0)).drawn_to(0.6, 0.03).value
        0.3
        """
        share = other_variance / (other_variance + self.scatter.mean_variance)
        variance = share * self.scatter.mean_variance
        value = other + share * (self.value - other)
        return LogMean(value, replace(self.scatter, mean_variance=variance))


@dataclass(frozen=True)
class RidingMean:
    """The mean power drawn, and the mean cost: power over speed, the consumption."""

    draw: LogMean
    cost: LogMean


def log_mean(values: FloatArray, settling_sd: FloatArray | None = None) -> LogMean:
    """Return the mean of blocks.

    Parameters
    ----------
    values
        Logarithms, oldest first, shape (n,).
    settling_sd
        Standard deviation of each from the craft's still settling, shape (n,); None if settled.
    """
    settling_sd = np.zeros(len(values)) if settling_sd is None else settling_sd
    weights = 1.0 / (1.0 + (settling_sd / RIDING_SD_FRACTION) ** 2)
    weights = weights / weights.sum()
    mean = float(weights @ values)
    residuals = values - mean
    variance, correlation = _variance(residuals), _correlation(residuals)
    # Blocks of equal weight that are worth as much, and independent ones.
    equal = float(1.0 / (weights**2).sum())
    independent = max(1.0, equal * (1 - correlation) / (1 + correlation))
    settling = float((weights * settling_sd) @ (weights * settling_sd))
    mean_variance = variance / independent + settling + _change_variance(values, mean, variance)
    return LogMean(mean, Scatter(mean_variance, variance, correlation))


def _variance(residuals: FloatArray) -> float:
    """Return the variance of blocks, shrunk towards the guess."""
    squares = RIDING_SD_WORTH * RIDING_SD_FRACTION**2 + float(residuals @ residuals)
    return squares / (RIDING_SD_WORTH + max(len(residuals) - 1, 0))


def _correlation(residuals: FloatArray) -> float:
    """Return the correlation of neighbouring blocks, shrunk towards the guess."""
    guess = RIDING_CORRELATION_WORTH * RIDING_SD_FRACTION**2
    products = float(residuals[1:] @ residuals[:-1]) + RIDING_CORRELATION * guess
    squares = float(residuals @ residuals) + guess
    return min(max(products / squares, 0.0), RIDING_CORRELATION_MOST)


def _change_variance(values: FloatArray, mean: float, variance: float) -> float:
    """Return the variance from not knowing whether what the newest blocks show will last."""
    found = 0.0
    for blocks, deviations in NEWEST:
        newest = values[-blocks:]
        by_chance = NEWEST_BEYOND_SD**2 * variance / len(newest)
        beyond = (float(newest.mean()) - mean) ** 2 - by_chance
        found = max(found, beyond / deviations**2)
    return found
