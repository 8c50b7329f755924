"""Weed or a fouled propeller: more power than usual. Three signs, each enough.

- *A step of cost*: on the course ridden just before, the speed suddenly takes more power
  (`cost_step`).
- *The load of the propeller*: it takes more power at its revs than minutes before
  (`propeller_load`).
- *Above the curve*: blocks well above the learned curve, wherever it is known well. A wind does the
  same, so they must stand out from how the ride's other blocks lie about the curve.

Blocks above the curve are under suspicion whether or not they prove to be fouling: they are not
carried over to the next ride.
"""

from collections import deque

import numpy as np

from onboard.efficiency.alert_practice import (
    FOULED_SCATTER_FEWEST,
    FOULED_SCATTER_MOST,
    FOULED_SD_MOST,
    STEP_LOOK_BACK_S,
)
from onboard.efficiency.common_practice import (
    FOULED_BLOCKS_LEAST,
    FOULED_BLOCKS_MOST,
    FOULED_EXCESS_SD,
    FOULING_FIT_AGE_S,
    FOULING_FIT_BLOCKS,
    FOULING_RANGE_FRACTION,
)
from onboard.efficiency.curve.cost_step import LEAST, cost_over, cost_step
from onboard.efficiency.curve.propeller_load import PropellerLoad
from onboard.efficiency.curve.speed_power import Posterior
from onboard.efficiency.curve.steady import BLOCK_S, SteadyBlock
from onboard.efficiency.curve.water_walk import WANDER_M2PS3
from onboard.efficiency.sources.minutes import Minute


class FoulingDetector:
    """Suspect blocks well above the curve, until they prove to be fouling or a changed craft."""

    def __init__(self) -> None:
        self._load = PropellerLoad()
        self._by_cost = False
        self._excess_fraction = 0.0
        self._recent: deque[SteadyBlock] = deque(maxlen=int(STEP_LOOK_BACK_S // BLOCK_S))
        self._excesses: deque[float] = deque(maxlen=FOULED_SCATTER_MOST)
        """How blocks in order lie about the curve."""
        self._clean: list[SteadyBlock] = []
        """What the speed took before the step that is weed now."""
        self._doubted: list[SteadyBlock] = []
        self._clear = self._beyond_doubt = 0

    @property
    def fouled(self) -> bool:
        """Whether the propeller is fouled."""
        return self._by_cost or self._load.fouled

    @property
    def excess_fraction(self) -> float:
        """Power beyond the usual, relative, when last fouled."""
        return self._load.excess_fraction if self._load.fouled else self._excess_fraction

    @property
    def doubting(self) -> bool:
        """Whether blocks are under suspicion now."""
        return self.fouled or bool(self._doubted)

    def fold_minute(self, minute: Minute | None) -> None:
        """Fold in a minute of riding: its revs show the load of the propeller."""
        self._load.fold(minute)

    def fold(self, block: SteadyBlock, known: Posterior | None) -> list[SteadyBlock]:
        """Fold in a block; return the blocks that are cleared for carry-over."""
        above = self._above(block, known)
        if self._steps(block, known) or self._load.fouled:
            above = True
        if above is None and self._by_cost:
            # An uninformative speed or course does not clear the suspicion.
            above = True
        if not above:
            self._clear += 1
            if self._by_cost and self._clear < FOULED_BLOCKS_LEAST:
                return []
            passed = [] if self._by_cost else self._doubted
            self._begin_anew()
            return [*passed, block]
        self._clear = 0
        self._doubted.append(block)
        if len(self._doubted) >= FOULED_BLOCKS_MOST:
            passed = self._doubted
            self._begin_anew()
            return passed
        self._by_cost = self._by_cost or self._beyond_doubt >= FOULED_BLOCKS_LEAST
        return []

    def _begin_anew(self) -> None:
        if self._by_cost:
            self._recent.clear()
        self._by_cost, self._doubted, self._clean, self._beyond_doubt = False, [], [], 0

    def _steps(self, block: SteadyBlock, known: Posterior | None) -> bool:
        """Return whether a block ends a step of cost that has just come."""
        self._recent.append(block)
        if known is None or self._by_cost or known.blocks < FOULING_FIT_BLOCKS:
            return False
        step = cost_step(list(self._recent), known)
        if step is not None:
            self._by_cost, self._clean = True, step.before
            self._excess_fraction = float(np.expm1(step.excess))
        return self._by_cost

    def _above(self, block: SteadyBlock, known: Posterior | None) -> bool | None:
        """Return whether a block is above the curve; None where the curve cannot tell."""
        if known is None or known.blocks < FOULING_FIT_BLOCKS:
            return None
        if self._clean:
            return self._is_still(block, known)
        velocity = np.array([[block.east_mps, block.north_mps]])
        through = float(np.hypot(*(velocity[0] - known.water_mps)))
        low, high = known.seen_mps
        if not low * (1 - FOULING_RANGE_FRACTION) <= through <= high * (1 + FOULING_RANGE_FRACTION):
            return None
        ln_power, slope = (float(part[0]) for part in known.ln_power_at(np.array([through])))
        excess = float(np.log(block.power_w)) - ln_power
        # Hysteresis: half the threshold sustains the suspicion.
        share = 0.5 if self._by_cost else 1.0
        if excess <= share * LEAST:
            self._excesses.append(excess)
            return False
        _, variance = known.at_velocity(velocity)
        # The water has kept wandering since the last fit.
        of_speed = known.velocity_sd_mps**2 + WANDER_M2PS3 * FOULING_FIT_AGE_S
        sd = float(np.sqrt(variance[0] + of_speed / (through * slope) ** 2))
        above = excess > share * max(LEAST, FOULED_EXCESS_SD * sd)
        tells = sd <= FOULED_SD_MOST and not _goes_on(block, known, through * (1 + 2 * sd * slope))
        if above and tells and excess > FOULED_EXCESS_SD * self._usual:
            self._beyond_doubt += 1
            self._excess_fraction = float(np.expm1(excess))
        elif not self._by_cost:
            self._beyond_doubt = 0
            self._excesses.append(excess)
        return above

    def _is_still(self, block: SteadyBlock, known: Posterior) -> bool | None:
        """Return whether a block still costs more than before the step; None on another course."""
        excess = cost_over([block], self._clean, known)
        if excess is None:
            return None
        if excess > LEAST / 2:
            self._excess_fraction = float(np.expm1(excess))
        return excess > LEAST / 2

    @property
    def _usual(self) -> float:
        """Root mean square of how blocks lie about the curve in this ride; 0 while they are few."""
        if len(self._excesses) < FOULED_SCATTER_FEWEST:
            return 0.0
        return float(np.sqrt(np.mean(np.square(self._excesses))))


def _goes_on(block: SteadyBlock, known: Posterior, most_mps: float) -> bool:
    """Return whether a power was never tried, at what may be beyond the speeds seen [m/s].

    Then it may as well be the curve that goes on, more steeply than it is known to.
    """
    high = known.seen_mps[1]
    ln_most = float(known.ln_power_at(np.array([high]))[0][0])
    return bool(np.log(block.power_w) > ln_most and most_mps > high)
