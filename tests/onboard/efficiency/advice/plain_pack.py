"""A battery of constant energy, and a riding without scatter, to check advice by hand."""

from dataclasses import dataclass, field

import numpy as np

from onboard.efficiency.riding.present_riding import Riding
from onboard.efficiency.riding.sagging import NO_SAG, Sag
from onboard.efficiency.riding.scatter import Scatter
from onboard.efficiency.statistics.shared_errors import COUNT, Spread

EXACT = Scatter(0.0, 0.0, 0.0)


@dataclass
class PlainPack:
    """Energy left [Wh] at any power, with its gradient along the shared errors."""

    wh: float = 500.0
    gradient: np.ndarray = field(default_factory=lambda: np.zeros(COUNT))
    covariance: np.ndarray = field(default_factory=lambda: np.zeros((COUNT, COUNT)))
    own_variance: float = 0.0
    fall: float = 0.0
    cutoff_v: float = 42.0

    def left(self, power_w):
        """Return energy, gradient and variance as a pack does."""
        count = len(power_w)
        own = np.full(count, self.own_variance)
        return np.full(count, self.wh), np.tile(self.gradient, (count, 1)), own

    def left_spread(self, power_w):
        """Return the same at one power."""
        return Spread(self.wh, self.gradient, self.own_variance)

    def voltage_fall(self, power_w):
        """Return the mean change of ln V over the energy left."""
        return self.fall


def riding(  # noqa: PLR0917
    power_w=300.0, speed_mps=2.0, cost=EXACT, draw=EXACT, sag: Sag = NO_SAG, courses=()
) -> Riding:
    """Return a riding at 50 V."""
    return Riding(power_w, speed_mps, 50.0, 600.0, cost, draw, courses, sag)
