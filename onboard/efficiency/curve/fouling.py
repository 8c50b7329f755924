"""Weed or a fouled propeller: power persistently well above the learned curve at steady speeds."""

import numpy as np

from onboard.efficiency.common_practice import (
    FOULED_BLOCKS_LEAST,
    FOULED_BLOCKS_MOST,
    FOULED_EXCESS_FRACTION,
    FOULED_EXCESS_SD,
    FOULING_FIT_AGE_S,
    FOULING_FIT_BLOCKS,
    FOULING_RANGE_FRACTION,
)
from onboard.efficiency.curve.speed_power import Posterior
from onboard.efficiency.curve.steady import SteadyBlock
from onboard.efficiency.curve.water_walk import WANDER_M2PS3


class FoulingDetector:
    """Suspect blocks well above the curve, until they prove to be fouling or a changed craft."""

    def __init__(self) -> None:
        self.fouled = False
        self.excess_fraction = 0.0
        """Excess of the last suspect block over the curve, relative."""
        self._doubted: list[SteadyBlock] = []
        self._clear = 0

    @property
    def doubting(self) -> bool:
        """Whether blocks are under suspicion now."""
        return self.fouled or bool(self._doubted)

    def fold(self, block: SteadyBlock, known: Posterior | None) -> list[SteadyBlock]:
        """Fold in a block; return the blocks that are cleared for carry-over."""
        above = self._above(block, known)
        if above is None and self.fouled:
            # An uninformative speed or course does not clear the suspicion.
            above = True
        if not above:
            self._clear += 1
            if self.fouled and self._clear < FOULED_BLOCKS_LEAST:
                return []
            passed = [] if self.fouled else self._doubted
            self.fouled, self._doubted = False, []
            return [*passed, block]
        self._clear = 0
        self._doubted.append(block)
        if len(self._doubted) >= FOULED_BLOCKS_MOST:
            passed, self._doubted, self.fouled = self._doubted, [], False
            return passed
        self.fouled = self.fouled or len(self._doubted) >= FOULED_BLOCKS_LEAST
        return []

    def _above(self, block: SteadyBlock, known: Posterior | None) -> bool | None:
        """Return whether a block is above the curve; None where the curve cannot tell."""
        if known is None or known.blocks < FOULING_FIT_BLOCKS:
            return None
        velocity = np.array([[block.east_mps, block.north_mps]])
        through = float(np.hypot(*(velocity[0] - known.water_mps)))
        low, high = known.seen_mps
        if not low * (1 - FOULING_RANGE_FRACTION) <= through <= high * (1 + FOULING_RANGE_FRACTION):
            return None
        excess = float(np.log(block.power_w) - known.ln_power_at(np.array([through]))[0][0])
        least = float(np.log1p(FOULED_EXCESS_FRACTION))
        # Hysteresis: half the threshold sustains the suspicion.
        if excess <= (least / 2 if self.fouled else least):
            return False
        _, variance = known.at_velocity(velocity)
        _, slope = known.ln_power_at(np.array([through]))
        # The water has kept wandering since the last fit.
        of_speed = known.velocity_sd_mps**2 + WANDER_M2PS3 * FOULING_FIT_AGE_S
        sd = float(np.sqrt(variance[0] + of_speed / (through * float(slope[0])) ** 2))
        limit = max(least, FOULED_EXCESS_SD * sd)
        above = excess > (limit / 2 if self.fouled else limit)
        if above:
            self.excess_fraction = float(np.expm1(excess))
        return above
