"""The next trip: the cost of each speed through water, and the probability of arriving.

Against a head current u a craft at w through the water makes w - u over ground; there and back at
one w it makes (w^2 - u^2) / w on average over the whole way, so current always costs energy.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray
from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.advice.outlook import EnergyLeft, likelihood, outlook
from onboard.efficiency.advice.target_speed import CONFIDENCE_FRACTION
from onboard.efficiency.statistics.shared_errors import Z_95

STEP_MPS = 0.1
"""Spacing of the speeds of a plan [m/s]."""

LEAST_WAY_MPS = 0.05
"""Least speed over ground that counts as making way [m/s]."""

OTHER_DAY_SD_FRACTION = 0.07
"""Relative standard deviation of the power at a speed on another day, whose wind, load and fouling
the plan does not know. Common practice, no source; chosen so that the intervals of simulated trips,
in winds up to 6 m/s, have their nominal coverage (tests/evaluation, planned_trip)."""

LOAD_EXPONENT = 2.0 / 3.0
"""Exponent of displacement in the power at a speed: the Admiralty coefficient's rule, which fails
for large changes."""


class KnownCurve(Protocol):
    """Power against speed through water, with its uncertainty."""

    @property
    def seen_mps(self) -> tuple[float, float]:
        """Lowest and highest speed at which it was learned [m/s]."""

    def ln_power_at(self, through_water_mps: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return ln P [ln W] and the slope d ln w / d ln P at speeds, shape (n,)."""

    def curve_variance(self, through_water_mps: FloatArray) -> FloatArray:
        """Return the variance of ln P at speeds, shape (n,)."""


@dataclass(frozen=True)
class Supply:
    """The energy for a trip.

    Parameters
    ----------
    left_at
        Returns the energy that can be drawn at a power.
    covariance
        Covariance of the shared errors, shape (5, 5).
    volts_v
        Battery voltage about half way.
    """

    left_at: EnergyLeft
    covariance: FloatArray
    volts_v: float


@dataclass(frozen=True)
class Way:
    """The way ahead.

    Parameters
    ----------
    distance_m
        Distance one way.
    head_current_mps
        Head current on the way there; negative if it helps.
    there_and_back
        Whether to include the way back, in the same water.
    power_factor
        Factor on the curve's power, such as for another load.
    """

    distance_m: float
    head_current_mps: float = 0.0
    there_and_back: bool = False
    power_factor: float = 1.0


@dataclass(frozen=True)
class PlanRow:
    """The plan at one speed.

    Parameters
    ----------
    through_water_mps, speed_mps
        Speed through the water, and mean speed over ground of the whole way.
    time_s
        Duration.
    power_w
        Battery power.
    energy_wh
        Energy needed.
    left_wh
        Energy left above the reserve on arrival.
    arrive_fraction
        Probability of arriving above the reserve.
    extrapolated
        Whether the speed is outside those of the learned curve.
    """

    through_water_mps: float
    speed_mps: float
    time_s: float
    power_w: float
    energy_wh: Figure
    left_wh: float
    arrive_fraction: float
    extrapolated: bool


def plan_rows(
    known: KnownCurve, supply: Supply, way: Way, more_mps: Sequence[float] = ()
) -> tuple[PlanRow, ...] | Unknown:
    """Evaluate the learned speeds, a tenth of a m/s apart, and further ones.

    Parameters
    ----------
    known
        The craft's curve.
    supply
        The battery.
    way
        The way ahead.
    more_mps
        Further speeds through the water.

    Returns
    -------
    tuple of PlanRow
        Rows in increasing speed; Unknown if no speed makes way.
    """
    low, high = known.seen_mps
    first, last = np.ceil(low / STEP_MPS - 1e-9), np.floor(high / STEP_MPS + 1e-9)
    learned = np.round(np.arange(first, last + 1) * STEP_MPS, 6)
    through = np.unique(np.concatenate([learned if len(learned) else [low, high], more_mps]))
    water = way.head_current_mps
    over = through - water
    if way.there_and_back:
        over = np.where(through > abs(water), (through**2 - water**2) / through, 0.0)
    through, over = through[over >= LEAST_WAY_MPS], over[over >= LEAST_WAY_MPS]
    if not len(through):
        return Unknown(Reason.NO_WAY_MADE)
    length_m = way.distance_m * (2.0 if way.there_and_back else 1.0)
    seen: npt.NDArray[np.bool_] = (through >= low - 1e-9) & (through <= high + 1e-9)

    def power_at(
        speed_mps: FloatArray, course_deg: float | None
    ) -> tuple[FloatArray, FloatArray, npt.NDArray[np.bool_], FloatArray]:
        del speed_mps, course_deg  # each has its speed through the water
        ln_power, slope = known.ln_power_at(through)
        by_water = 1.0 / (np.maximum(through, LEAST_WAY_MPS) * slope) ** 2
        power = np.exp(ln_power) * way.power_factor
        return power, known.curve_variance(through) + OTHER_DAY_SD_FRACTION**2, seen, by_water

    ahead = outlook(over, None, power_at, supply.left_at, supply.volts_v, supply.covariance)
    needed, margin, sd = ahead.margin(length_m)
    relative = ahead.cost_sd()
    rows = []
    for n in range(len(through)):
        reach = float(np.exp(Z_95 * relative[n]))
        energy = float(needed[n])
        rows.append(
            PlanRow(
                float(through[n]),
                float(over[n]),
                length_m / float(over[n]),
                float(ahead.power_w[n]),
                Figure(energy, energy / reach, energy * reach),
                float(margin[n]),
                likelihood(float(margin[n]), float(sd[n])),
                not bool(seen[n]),
            )
        )
    return tuple(rows)


def best_row(rows: Sequence[PlanRow]) -> PlanRow:
    """Return the fastest speed that surely arrives; failing that, the most likely to arrive.

    Only learned speeds are considered, unless there is none.
    """
    learned = [row for row in rows if not row.extrapolated] or list(rows)
    sure = [row for row in learned if row.arrive_fraction >= CONFIDENCE_FRACTION]
    if sure:
        return max(sure, key=lambda row: row.speed_mps)
    return max(learned, key=lambda row: (row.arrive_fraction, row.left_wh))


def load_factor(mass_kg: float, extra_kg: float) -> float:
    """Return the factor on power of an extra load, by the displacement rule.

    Examples
    --------
    >>> round(load_factor(110.0, 10.0), 4)
    1.0597
    """
    return float(((mass_kg + extra_kg) / mass_kg) ** LOAD_EXPONENT)
