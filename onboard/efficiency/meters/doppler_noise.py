"""Noise of the receiver's velocity, estimated from its sideways part on a straight course.

What matters for distance is the noise that survives averaging over many seconds: its long-run
variance S, the variance of a mean velocity times the averaging time [m^2/s], each axis. Waves and
throttle hardly act sideways; the second difference of three twenty-second means removes the course.
"""

import math
from bisect import bisect_left, insort

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray
from onboard.efficiency.common_practice import NOISE_AT_FIRST_M2PS, NOISE_FEWEST, NOISE_STRAIGHT_COS

BLOCK_S = 20
"""Averaging time of a mean velocity [s]."""

KEPT = 180
"""Newest differences that the median is taken over."""

SHARE = 0.75
"""Share of S that noise with a correlation time of 3 to 4 s shows in the second difference of
twenty-second means; 0.9 at 1 s, 0.8 at 2 s (Gauss-Markov, by summing its covariance)."""

SMOOTH_SHARE = 0.63
"""Share of S / 5 that remains in a five-second mean, derived likewise; 0.8 at 1 s, 0.4 at 4 s."""

MEDIAN_SD = 0.67449
"""Median size of a normal deviate, in standard deviations (tables)."""


class DopplerNoise:
    """Estimate S from one-second displacements in order."""

    def __init__(self) -> None:
        self.long_run_m2ps = NOISE_AT_FIRST_M2PS
        """S [m^2/s]."""
        self._sizes: list[float] = []
        self._in_order: list[float] = []
        self._east = self._north = 0.0
        self._count = 0
        self._means: list[tuple[float, float]] = []

    def fold(self, moves: npt.NDArray[np.bool_], own_m: FloatArray) -> FloatArray:
        """Fold seconds; return the bias of squared speed from noise [m^2/s^2].

        Parameters
        ----------
        moves
            Whether the craft moved, shape (n,).
        own_m
            Displacement in each second (east, north) [m], shape (n, 2).

        Returns
        -------
        numpy.ndarray
            Shape (n,): a speed v smoothed over five seconds is too high by this over v. With the
            sideways variance of the mean s^2 = S / 5 the bias is s^2 / 2, to first order.
        """
        excess = np.empty(len(moves))
        at = 0
        while at < len(moves):
            stop = min(at + BLOCK_S - self._count, len(moves))
            excess[at:stop] = SMOOTH_SHARE * self.long_run_m2ps / 5.0 / 2.0
            if moves[at:stop].all():
                # One by one, so that the sum is the same for any partition.
                for east, north in own_m[at:stop].tolist():
                    self._east += east
                    self._north += north
            else:
                self._means.clear()
                self._east = math.nan
            self._count += stop - at
            if self._count == BLOCK_S:
                self._close(self._east / BLOCK_S, self._north / BLOCK_S)
                self._east = self._north = 0.0
                self._count = 0
            at = stop
        return excess

    def _close(self, east_mps: float, north_mps: float) -> None:
        """Fold the mean of a block: NaN if the craft did not move throughout."""
        if math.isnan(east_mps):
            self._means.clear()
            return
        self._means.append((east_mps, north_mps))
        if len(self._means) < 3:
            return
        first, middle, last = self._means
        del self._means[0]
        east = first[0] + middle[0] + last[0]
        north = first[1] + middle[1] + last[1]
        together = first[0] * last[0] + first[1] * last[1]
        if together < NOISE_STRAIGHT_COS * math.hypot(*first) * math.hypot(*last):
            return
        aside = [middle[axis] - (first[axis] + last[axis]) / 2 for axis in (0, 1)]
        self._keep(abs(aside[0] * north - aside[1] * east) / math.hypot(east, north))
        count = len(self._in_order)
        if count >= NOISE_FEWEST:
            median = (self._in_order[(count - 1) // 2] + self._in_order[count // 2]) / 2
            sd = median / MEDIAN_SD
            self.long_run_m2ps = sd**2 * BLOCK_S / 1.5 / SHARE

    def _keep(self, size: float) -> None:
        self._sizes.append(size)
        insort(self._in_order, size)
        if len(self._sizes) > KEPT:
            oldest = self._sizes.pop(0)
            del self._in_order[bisect_left(self._in_order, oldest)]
