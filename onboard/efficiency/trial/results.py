"""The results of a trial, and the evidence behind them."""

import math

from onboard.block import FloatArray
from onboard.contract.figure import Estimate, Unknown
from onboard.contract.remarks import Caution
from onboard.dataclass import dataclass
from onboard.efficiency.trial.double_runs import DoubleRun, UnpairedLeg
from onboard.efficiency.trial.equal_power import CurveSlope
from onboard.efficiency.trial.leg import Leg
from onboard.efficiency.trial.ranking import Levels, Sample
from onboard.efficiency.trial.trial_practice import DOUBLE_RUN_SD_FRACTION, LAP_SD_FRACTION
from onboard.efficiency.trial.water_change import Water


@dataclass(frozen=True)
class SetupResult:
    """A set-up at the power compared at.

    Parameters
    ----------
    name
        Its label.
    power_w
        The power compared at.
    run_power_w
        Its mean power when run.
    correction_fraction
        Relative correction of its speed to that power.
    speed_mps, wh_per_km
        Through the water, at that power by the craft's own instruments.
    double_runs, laps, runs
        Numbers that it is based on; runs are the straight ones.
    """

    name: str
    power_w: float
    run_power_w: float
    correction_fraction: float
    speed_mps: Estimate
    wh_per_km: Estimate
    double_runs: int
    laps: int
    runs: int


@dataclass(frozen=True)
class Place:
    """A set-up's place in the ranking.

    Parameters
    ----------
    name
        The set-up's label.
    group
        Set-ups that cannot be told apart share one; 0 is that of the best.
    behind_fraction
        Wh/km above the best's, as a share of the best's; 0 for the best itself.
    chance_best
        Probability that it is the best of those run with the best; None if it was not, or alone.
    """

    name: str
    group: int
    behind_fraction: Estimate
    chance_best: float | None


@dataclass(frozen=True)
class NextRuns:
    """What to ride next.

    Parameters
    ----------
    enough
        Whether more runs would hardly change the answer: the best is surely named, or all that
        remain are alike to within what matters.
    order
        Set-ups to ride, in this order, one run for each place: there and back through those not
        told from the best. Empty if enough.
    drop
        Set-ups not worth another run: each can, alone, be told from the best.
    rounds
        About how many rounds of that order would settle it; None if unknown.
    """

    enough: bool
    order: tuple[str, ...]
    drop: tuple[str, ...]
    rounds: int | None


@dataclass(frozen=True)
class PairResult:
    """Two set-ups against each other.

    Parameters
    ----------
    a, b
        Their labels.
    difference_fraction
        (Wh/km of a - Wh/km of b) / Wh/km of b at equal battery power.
    verdict
        `a_better`, `b_better` or `cannot_tell`.
    double_runs_needed
        Additional double runs, of both together, to detect 3 %; None if unknown or not needed.
    chance
        p-value, corrected for the number of comparisons.
    freedom
        Degrees of freedom behind it.
    why_not
        Why there is no verdict, even if there are figures; None without such a reason.
    """

    a: str
    b: str
    difference_fraction: Estimate
    verdict: str
    double_runs_needed: int | None
    chance: float | None
    freedom: float
    why_not: Unknown | None = None


@dataclass(frozen=True)
class Evidence:
    """The evidence behind a comparison.

    Parameters
    ----------
    legs
        All legs in order of time.
    doubles, left_out
        Double runs used, and outliers left out.
    unpaired
        Legs that belong to no double run.
    speed_mps
        Speed of each double run used, at the power compared at and corrected for the water.
    water
        The water estimated from the legs.
    names
        Set-ups that have a double run, numbered as in `sample`.
    sample
        The observations: ln of those speeds.
    levels
        The fit.
    """

    legs: list[Leg]
    doubles: list[DoubleRun]
    left_out: list[DoubleRun]
    unpaired: list[UnpairedLeg]
    speed_mps: FloatArray
    water: Water
    names: list[str]
    sample: Sample
    levels: Levels

    @property
    def counts(self) -> list[int]:
        """Number of double runs and laps of each set-up."""
        return [sum(double.setup == name for double in self.doubles) for name in self.names]

    @property
    def laps(self) -> list[int]:
        """Number of laps of each set-up."""
        return [
            sum(double.setup == name and double.is_lap for double in self.doubles)
            for name in self.names
        ]

    @property
    def usual_sd_fraction(self) -> float:
        """Usual relative standard deviation of a double run or lap, as far as they were run."""
        usual = [
            LAP_SD_FRACTION if double.is_lap else DOUBLE_RUN_SD_FRACTION for double in self.doubles
        ]
        return math.sqrt(sum(sd**2 for sd in usual) / len(usual))

    @property
    def without(self) -> list[str]:
        """Set-ups that were run but have no double run."""
        return [
            name for name in dict.fromkeys(leg.setup for leg in self.legs) if name not in self.names
        ]


@dataclass(frozen=True)
class Comparison:
    """The result of a trial.

    Parameters
    ----------
    power_w, slope
        The power compared at, and the curve's slope there.
    setups
        Best first.
    pairs
        Every pair of them.
    cautions
        Of `ranking_cautions`; the caller adds those of power and surroundings.
    evidence
        The evidence behind it.
    places
        The place of each set-up, best first.
    next_runs
        What to ride next.
    told_fraction
        Smallest difference in Wh/km, as a share, at which a set-up run like these can be told from
        the best; None with one set-up.
    shared_sd_fraction
        Relative standard deviation of Wh/km due to sensor gain: in each interval, but common to all
        set-ups, so in no difference.
    """

    power_w: float
    slope: CurveSlope
    setups: tuple[SetupResult, ...]
    pairs: tuple[PairResult, ...]
    cautions: tuple[Caution, ...]
    evidence: Evidence
    places: tuple[Place, ...]
    next_runs: NextRuns
    told_fraction: float | None
    shared_sd_fraction: float
