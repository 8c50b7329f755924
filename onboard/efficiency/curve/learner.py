"""Learns the speed-power curve on the way, one for each set-up, and carries it over to later rides.

It forgets: an earlier ride's curve counts for less the next time, as load and weather change.
"""

import contextlib
from typing import Any

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.curve.carried_curve import of_carried
from onboard.efficiency.curve.fouling import FoulingWatch
from onboard.efficiency.curve.speed_power import KNOTS, WATER_SD_MPS, Carried, Posterior, fit
from onboard.efficiency.curve.steady import SteadyBlock, SteadyFinder
from onboard.efficiency.curve.turning import Circle, CircleFinder
from onboard.efficiency.sources.settled_seconds import SettledSeconds

BLOCKS_MOST = 400
CIRCLES_MOST = 20
REFIT_GROWTH, REFIT_MOST = 1.06, 30
"""The curve is fitted anew after this growth of its blocks, and after so many at the latest: it may
then have changed, and the water has wandered on."""

FRESH_GROWTH = 2.0
"""After this growth it is fitted from nothing, else from the last fit on."""

BLOCKS_SURE = 12

DAY_SD_FRACTION = 0.015
SHAPE_SD_FRACTION = 0.01
"""How far the speed at a power is off from one day to the next, for all speeds alike (load, growth,
wind), and for each. 1.5 % of speed is about 5 % of power. Common practice, no source."""

PLAIN_SETUP = "as is"


class Learner:
    """The curves of one craft.

    Parameters
    ----------
    kept
        What an earlier ride's `as_dict` gave, None without.

    Raises
    ------
    ValueError
        If it is not what `as_dict` gives.
    """

    def __init__(self, kept: Any = None) -> None:
        self._carried = {} if kept is None else _read(kept)
        self.setup = PLAIN_SETUP
        self._posterior: Posterior | None = None
        self._count, self._next_fit, self._from_nothing = 0, 1, 0
        self._before_doubt: Posterior | None = None
        self._suspect: set[float] = set()
        self._begin()

    @property
    def setups(self) -> tuple[str, ...]:
        """The labels that have a curve, and the present one."""
        return tuple(sorted({*self._carried, self.setup}))

    @property
    def carried(self) -> tuple[str, ...]:
        """The labels that have a curve of earlier rides."""
        return tuple(sorted(self._carried))

    def select(self, setup: str) -> None:
        """Go on with the curve of another set-up; start one if it has none."""
        if setup == self.setup:
            return
        learned = self._learned()
        if learned is not None:
            self._carried[self.setup] = learned
        self.setup = setup
        self._begin()

    def fold(self, seconds: SettledSeconds) -> list[tuple[float, bool, float]]:
        """Take in settled seconds, in order.

        Returns
        -------
        list of tuple
            When [s] power was found to be well above the curve, or no more; which of both; and by
            what fraction.
        """
        changes: list[tuple[float, bool, float]] = []
        self._circles += self._circle_finder.fold(seconds)
        del self._circles[:-CIRCLES_MOST]
        for block in self._steady_finder.fold(seconds):
            # Whatever it is that costs more, weed or wind: what lies ahead costs more as well, so
            # suspect blocks are learned from. They are not carried over to the next ride.
            known = self._before_doubt or self._posterior
            was_fouled = self._fouling.fouled
            passed = self._fouling.admit(block, known)
            if self._fouling.fouled != was_fouled:
                changes.append((block.t_s, self._fouling.fouled, self._fouling.excess_fraction))
            self._suspect.add(block.t_s)
            self._suspect.difference_update(one.t_s for one in passed)
            self._before_doubt = known if self._fouling.doubting else None
            self._blocks.append(block)
            self._count += 1
            while len(self._blocks) > BLOCKS_MOST:
                self._suspect.discard(self._blocks.pop(0).t_s)
            if self._count >= self._next_fit:
                self._refit()
        return changes

    @property
    def posterior(self) -> Posterior | None:
        """What is known as of the last fit; None before the first steady stretch."""
        return self._posterior

    def known(self, setup: str) -> Posterior | None:
        """Return what is known of a set-up's curve: by this ride, else as carried; None without."""
        if setup == self.setup and self._posterior is not None:
            return self._posterior
        carried = self._carried.get(setup)
        return None if carried is None else of_carried(carried)

    def over_ground(self) -> Posterior | None:
        """Return the curve with the water held at rest: that of the courses ridden, over ground."""
        return self._fit(water_sd_mps=0.0) if self._blocks else None

    def as_dict(self) -> dict[str, Any]:
        """Return all curves, in JSON's own types."""
        learned = self._learned()
        now = {} if learned is None else {self.setup: learned}
        return {
            name: {
                "first_knot": one.first_knot,
                "ln_speed": one.ln_speed.tolist(),
                "covariance": one.covariance.tolist(),
                "seen_mps": list(one.seen_mps),
            }
            for name, one in (self._carried | now).items()
        }

    def _begin(self) -> None:
        self._blocks: list[SteadyBlock] = []
        self._circles: list[Circle] = []
        self._steady_finder, self._circle_finder = SteadyFinder(), CircleFinder()
        self._fouling = FoulingWatch()
        self._count, self._next_fit, self._from_nothing = 0, 1, 0
        self._posterior = None
        self._before_doubt = None
        self._suspect = set()

    def _refit(self) -> None:
        """Fit anew, from the last fit on; from nothing each time the blocks have grown by much."""
        grown = self._count >= FRESH_GROWTH * self._from_nothing or self._count < BLOCKS_SURE
        if grown:
            self._from_nothing = self._count
        # What cannot be solved must not end the ride: the fit before stands.
        with contextlib.suppress(np.linalg.LinAlgError):
            self._posterior = self._fit(near=None if grown else self._posterior)
        later = min(int(REFIT_GROWTH * self._count), self._count + REFIT_MOST)
        self._next_fit = max(self._count + 1, later)

    def _fit(self, water_sd_mps: float = WATER_SD_MPS, near: Posterior | None = None) -> Posterior:
        circles = self._circles if water_sd_mps else []
        return fit(self._blocks, circles, self._carried.get(self.setup), water_sd_mps, near)

    def _learned(self) -> Carried | None:
        """Return what is carried over to later rides; None where nothing was learned.

        What was carried here stays as it was: it is in each fit, and must be there once only.
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
        covariance += DAY_SD_FRACTION**2 + np.eye(len(covariance)) * SHAPE_SD_FRACTION**2
        ln_speed = learned.ln_speed[first : last + 1]
        return Carried(first, ln_speed, covariance, learned.seen_mps)


def _read(kept: Any) -> dict[str, Carried]:
    try:
        return {str(name): _read_one(one) for name, one in kept.items()}
    except (KeyError, TypeError, AttributeError, ValueError, IndexError):
        raise ValueError("the kept speed-power curves are not readable") from None


def _read_one(one: dict[str, Any]) -> Carried:
    first = int(one["first_knot"])
    ln_speed = _finite(one["ln_speed"])
    covariance = _finite(one["covariance"])
    low, high = (float(speed) for speed in one["seen_mps"])
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
