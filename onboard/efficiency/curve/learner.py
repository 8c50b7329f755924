"""Learn the speed-power curve under way, one per set-up, and carry it over to later rides."""

import contextlib
import heapq
from typing import Any

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.common_practice import (
    BLOCK_OUTLIER_SD,
    REJECTED_MOST_FRACTION,
    WATER_PRIOR_SD_MPS,
)
from onboard.efficiency.curve.carried import Learned, as_dict, carried_of, posterior_of, read_all
from onboard.efficiency.curve.fouling import FoulingDetector
from onboard.efficiency.curve.joint_fit import fit
from onboard.efficiency.curve.ridden import none_ridden, ridden, together
from onboard.efficiency.curve.speed_power import Carried, Posterior, knot_weights
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
        self._carried = {} if kept is None else read_all(kept)
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
        self._ridden = none_ridden()
        """What the blocks no longer stored took."""

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
            self._forget(self._blocks.pop(0))
        if self._count >= self._next_fit:
            self._refit()

    def known(self, setup: str) -> Posterior | None:
        """Return the curve of a set-up: of this ride, else as carried over; None without."""
        if setup == self.setup and self.posterior is not None:
            return self.posterior
        carried = self._carried.get(setup)
        return None if carried is None else carried.posterior

    def over_ground(self) -> Posterior | None:
        """Return the curve against speed over ground; None where that through water tells more."""
        if self.posterior is None:
            return None
        return self._over_ground_unless(self.posterior.through_any_water(), self._blocks)

    def for_another_day(self, setup: str) -> tuple[Posterior, Posterior | None, FloatArray] | None:
        """Return what a later ride would know of a set-up; None if that is nothing.

        Returns
        -------
        tuple
            The curve through water; that over ground, where no course ridden tells the water from
            the craft; and the sums of what riding took (see `onboard.efficiency.curve.ridden`).
        """
        learned = (self._learned() if setup == self.setup else None) or self._carried.get(setup)
        if learned is None:
            return None
        over = learned.over_ground
        ground = None if over is None else posterior_of(over, determines_water=True)
        return learned.posterior, ground, learned.ridden

    def as_dict(self) -> dict[str, Any]:
        """Return all curves, in JSON's own types."""
        learned = self._learned()
        now = {} if learned is None else {self.setup: learned}
        return {name: as_dict(one) for name, one in (self._carried | now).items()}

    def _forget(self, block: SteadyBlock) -> None:
        if block.t_s not in self._suspect:
            self._ridden = together(self._ridden, ridden([block]))
        self._suspect.discard(block.t_s)

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

    def _fit(self, near: Posterior | None = None) -> Posterior:
        return fit(self._blocks, self._circles, self._prior(), WATER_PRIOR_SD_MPS, near)

    def _prior(self) -> Carried | None:
        carried = self._carried.get(self.setup)
        return None if carried is None else carried.curve

    def _over_ground_unless(
        self, through: Posterior, blocks: list[SteadyBlock]
    ) -> Posterior | None:
        """Return the curve of blocks with the water fixed at rest, unless another tells more.

        Where the water moves and the courses differ, no curve over ground fits them.
        """
        if through.determines_water:
            return None
        carried = self._carried.get(self.setup)
        over = fit(blocks, [], None if carried is None else carried.over_ground, 0.0)
        tells_more = over.mean_variance() < through.mean_variance()
        return over if tells_more and _fits(over, blocks) else None

    def _learned(self) -> Learned | None:
        """Return what to carry over to later rides; None where nothing was learned.

        A curve carried into this ride is passed on unchanged: as a prior of each fit it must count
        only once.
        """
        sound = [block for block in self._blocks if block.t_s not in self._suspect]
        if not sound:
            return None
        learned = fit(sound, self._circles, self._prior())
        through = learned.through_any_water()
        over = self._over_ground_unless(through, sound)
        before = self._carried.get(self.setup)
        took = together(none_ridden() if before is None else before.ridden, self._ridden)
        took = together(took, ridden(sound))
        return Learned(carried_of(through), None if over is None else carried_of(over), took)


def _fits(over_ground: Posterior, blocks: list[SteadyBlock]) -> bool:
    """Return whether one rising curve passes through blocks of all courses."""
    velocity = np.array([[block.east_mps, block.north_mps] for block in blocks])
    if (velocity @ velocity.sum(axis=0) > 0.0).all():
        return True  # about one course: nothing contradicts it
    ln_power = np.log([block.power_w for block in blocks])
    speed = np.exp(knot_weights(ln_power) @ over_ground.ln_speed)
    off = np.abs(np.hypot(velocity[:, 0], velocity[:, 1]) - speed)
    outside = off > BLOCK_OUTLIER_SD * over_ground.velocity_sd_mps
    return bool(outside.mean() <= REJECTED_MOST_FRACTION)
