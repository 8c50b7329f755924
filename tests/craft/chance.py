"""Seeded randomness: an independent generator for each part, and correlated errors."""

import zlib

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def generator(seed: int, part: str) -> np.random.Generator:
    """Return the generator of one part.

    Each part has its own, so that a change in one (say, more GPS noise) leaves the draws of all
    others unchanged.
    """
    return np.random.default_rng(np.random.SeedSequence([seed, zlib.crc32(part.encode())]))


def gauss_markov(
    count: int, step_s: float, sd: float, memory_s: float, rng: np.random.Generator
) -> Array:
    """Return a first-order Gauss-Markov series: deviation `sd`, correlation exp(-t/memory).

    It starts in its stationary state: the spread is the same from the first sample on.
    """
    keep = float(np.exp(-step_s / memory_s))
    kicks = (rng.standard_normal(count) * sd * np.sqrt(1.0 - keep * keep)).tolist()
    value = float(rng.standard_normal() * sd)
    series = [value] * count
    for index in range(1, count):
        value = keep * value + kicks[index]
        series[index] = value
    return np.array(series)
