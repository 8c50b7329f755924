"""Learn the speed-power curve under way, one per set-up, and carry it over to later rides.

Carry-over forgets: an earlier ride's curve is widened for the next day's load and weather.
"""

import contextlib
import heapq
from typing import Any

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.common_practice import (
    BLOCK_SPEED_SD_MPS,
    DAY_SHAPE_SD_FRACTION,
    DAY_SPEED_SD_FRACTION,
    WATER_PRIOR_SD_MPS,
)
from onboard.efficiency.curve.fouling import FoulingDetector
from onboard.efficiency.curve.joint_fit import fit
from onboard.efficiency.curve.speed_power import KNOTS, SLOPE_SD, Carried, Posterior, start_curve
from onboard.efficiency.curve.steady import SteadyBlock, SteadyFinder
from onboard.efficiency.curve.turning import Circle, CircleFinder
from onboard.efficiency.sources.minutes import Minutes
from onboard.efficiency.sources.settled_seconds import SettledSeconds

BLOCKS_MOST = 400
"""Steady blocks stored of a ride at most."""

CIRCLES_MOST = 20
"""Turns stored of a ride at most."""

REFIT_GROWTH, REFIT_MOST = 1.06, 30
"""Growth factor of the number of blocks, and number of new blocks, after which the curve is
refitted at the latest: it may have changed, and the water has kept wandering."""

FRESH_GROWTH = 2.0
"""Growth factor of the number of blocks after which a refit starts from the priors, not from the
last fit."""

BLOCKS_EACH_FITTED = 12
"""Number of blocks up to which each new block triggers a fit from the priors."""

PLAIN_SETUP = "as is"


class Learner:
    """The curves of one craft.

    Parameters
    ----------
    kept
        From an earlier ride's `as_dict`, None without.

    Raises
    ------
    ValueError
        If `kept` is not what `as_dict` returns.
    """

    def __init__(self, kept: Any = None) -> None:
        self._carried = {} if kept is None else _read(kept)
        self.setup = PLAIN_SETUP
        self._begin()

    def _begin(self) -> None:
        self._blocks: list[SteadyBlock] = []
        self._circles: list[Circle] = []
        self._steady_finder, self._circle_finder = SteadyFinder(), CircleFinder()
        self._minutes, self._fouling = Minutes(), FoulingDetector()
        self._count, self._next_fit, self._from_nothing = 0, 1, 0
        self.posterior: Posterior | None = None
        """The last fit; None before the first steady stretch."""
        self._before_doubt: Posterior | None = None
        self._suspect: set[float] = set()

    @property
    def setups(self) -> tuple[str, ...]:
        """Labels that have a curve, and the present one."""
        return tuple(sorted({*self._carried, self.setup}))

    @property
    def carried(self) -> tuple[str, ...]:
        """Labels that have a curve of earlier rides."""
        return tuple(sorted(self._carried))

    def select(self, setup: str) -> None:
        """Switch to the curve of another set-up; start one if it has none."""
        if setup == self.setup:
            return
        learned = self._learned()
        if learned is not None:
            self._carried[self.setup] = learned
        self.setup = setup
        self._begin()

    def fold(self, seconds: SettledSeconds) -> list[tuple[float, bool, float]]:
        """Fold in settled seconds, in order.

        Returns
        -------
        list of tuple
            Changes of the fouling state: time [s], whether fouled, and the excess power,
            relative.
        """
        changes: list[tuple[float, bool, float]] = []
        self._circles += self._circle_finder.fold(seconds)
        del self._circles[:-CIRCLES_MOST]
        blocks = ((block.t_s, block) for block in self._steady_finder.fold(seconds))
        for t_s, piece in heapq.merge(self._minutes.fold(seconds), blocks, key=lambda one: one[0]):
            was_fouled = self._fouling.fouled
            if isinstance(piece, SteadyBlock):
                self._learn(piece)
            else:
                self._fouling.fold_minute(piece)
            if self._fouling.fouled != was_fouled:
                changes.append((t_s, self._fouling.fouled, self._fouling.excess_fraction))
        return changes

    def _learn(self, block: SteadyBlock) -> None:
        """Learn from a steady block."""
        # An extra cost, by weed or wind, is likely to persist: suspect blocks are learned
        # from, but not carried over to the next ride.
        known = self._before_doubt or self.posterior
        passed = self._fouling.fold(block, known)
        self._suspect.add(block.t_s)
        self._suspect.difference_update(block.t_s for block in passed)
        self._before_doubt = known if self._fouling.doubting else None
        self._blocks.append(block)
        self._count += 1
        while len(self._blocks) > BLOCKS_MOST:
            self._suspect.discard(self._blocks.pop(0).t_s)
        if self._count >= self._next_fit:
            self._refit()

    def known(self, setup: str) -> Posterior | None:
        """Return the curve of a set-up: of this ride, else as carried over; None without."""
        if setup == self.setup and self.posterior is not None:
            return self.posterior
        carried = self._carried.get(setup)
        return None if carried is None else _posterior_of(carried)

    def over_ground(self) -> Posterior | None:
        """Return the curve with the water fixed at rest: against speed over ground."""
        return self._fit(water_sd_mps=0.0) if self._blocks else None

    def as_dict(self) -> dict[str, Any]:
        """Return all curves, in JSON's own types."""
        learned = self._learned()
        now = {} if learned is None else {self.setup: learned}
        return {
            name: {
                "first_knot": carried.first_knot,
                "ln_speed": carried.ln_speed.tolist(),
                "covariance": carried.covariance.tolist(),
                "seen_mps": list(carried.seen_mps),
            }
            for name, carried in (self._carried | now).items()
        }

    def _refit(self) -> None:
        """Refit, starting from the last fit, or from the priors after much growth."""
        grown = self._count >= FRESH_GROWTH * self._from_nothing or self._count < BLOCKS_EACH_FITTED
        if grown:
            self._from_nothing = self._count
        # A singular fit must not end the ride: the previous fit stands.
        with contextlib.suppress(np.linalg.LinAlgError):
            self.posterior = self._fit(near=None if grown else self.posterior)
        later = min(int(REFIT_GROWTH * self._count), self._count + REFIT_MOST)
        self._next_fit = max(self._count + 1, later)

    def _fit(
        self, water_sd_mps: float = WATER_PRIOR_SD_MPS, near: Posterior | None = None
    ) -> Posterior:
        circles = self._circles if water_sd_mps else []
        return fit(self._blocks, circles, self._carried.get(self.setup), water_sd_mps, near)

    def _learned(self) -> Carried | None:
        """Return the curve to carry over to later rides; None where nothing was learned.

        A curve carried into this ride is passed on unchanged: as a prior of each fit it must count
        only once.
        """
        sound = [block for block in self._blocks if block.t_s not in self._suspect]
        if not sound:
            return None
        learned = fit(sound, self._circles, self._carried.get(self.setup))
        ln_low, _ = learned.ln_power_at(np.array([learned.seen_mps[0]]))
        ln_high, _ = learned.ln_power_at(np.array([learned.seen_mps[1]]))
        first = max(int(np.searchsorted(KNOTS, ln_low[0])) - 1, 0)
        last = min(int(np.searchsorted(KNOTS, ln_high[0])), len(KNOTS) - 1)
        inside = slice(2 + first, 2 + last + 1)
        covariance = learned.covariance[inside, inside].copy()
        covariance += DAY_SPEED_SD_FRACTION**2 + np.eye(len(covariance)) * DAY_SHAPE_SD_FRACTION**2
        ln_speed = learned.ln_speed[first : last + 1]
        return Carried(first, ln_speed, covariance, learned.seen_mps)


def _posterior_of(carried: Carried) -> Posterior:
    """Return the posterior of a carried curve alone: no water, and wider beyond the speeds seen."""
    count = len(KNOTS)
    known = slice(carried.first_knot, carried.first_knot + len(carried.ln_speed))
    ends = KNOTS[known][[0, -1]]
    beyond = np.abs(KNOTS - np.clip(KNOTS, *ends))
    curve = np.diag((SLOPE_SD * beyond) ** 2 + float(np.diag(carried.covariance).max()))
    curve[known, known] = carried.covariance
    covariance = np.zeros((2 + count, 2 + count))
    covariance[2:, 2:] = curve
    start = start_curve(carried)
    return Posterior(np.zeros(2), start, covariance, carried.seen_mps, 0, BLOCK_SPEED_SD_MPS, 0.0)


def _read(kept: Any) -> dict[str, Carried]:
    try:
        return {str(name): _read_one(stated) for name, stated in kept.items()}
    except (KeyError, TypeError, AttributeError, ValueError, IndexError):
        raise ValueError("the kept speed-power curves are not readable") from None


def _read_one(stated: dict[str, Any]) -> Carried:
    first = int(stated["first_knot"])
    ln_speed = _finite(stated["ln_speed"])
    covariance = _finite(stated["covariance"])
    low, high = (float(speed) for speed in stated["seen_mps"])
    if not (
        first >= 0 and 1 <= len(ln_speed) <= len(KNOTS) - first
        and covariance.shape == (len(ln_speed), len(ln_speed)) and 0 < low <= high
        and np.all(np.linalg.eigvalsh(covariance) > 0)
    ):  # fmt: skip
        raise ValueError("cannot be")
    return Carried(first, ln_speed, covariance, (low, high))


def _finite(values: Any) -> FloatArray:
    array = np.array(values, dtype=np.float64)
    if not np.isfinite(array).all():
        raise ValueError("cannot be")
    return array
