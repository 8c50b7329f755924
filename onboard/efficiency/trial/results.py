"""What a trial tells, and what it rests on."""

from dataclasses import dataclass

from onboard.block import FloatArray
from onboard.contract.figure import Estimate, Unknown
from onboard.contract.remarks import Caution
from onboard.efficiency.trial.double_runs import Alone, DoubleRun
from onboard.efficiency.trial.equal_power import Slope
from onboard.efficiency.trial.leg import Leg
from onboard.efficiency.trial.ranking import Levels, Sample
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
        What it was run at, on the mean.
    correction_fraction
        By what its speed was changed to bring it to that power.
    speed_mps, wh_per_km
        Through the water, at that power by the craft's own instruments.
    double_runs, runs
        How many it rests on.
    """

    name: str
    power_w: float
    run_power_w: float
    correction_fraction: float
    speed_mps: Estimate
    wh_per_km: Estimate
    double_runs: int
    runs: int


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
        How many more, of both together, would tell 3 %; None where nobody knows or it was told.
    chance
        How often equal set-ups differ as much, corrected for the number of comparisons.
    freedom
        Degrees of freedom behind it.
    why_not
        Why there is no verdict although there may be figures; None without such a reason.
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
    """What a comparison rests on.

    Parameters
    ----------
    legs
        All legs in order of time.
    doubles, left_out
        Double runs that count, and outliers that do not.
    alone
        Legs of no double run.
    speed_mps
        Of each double run that counts, at the power compared at and free of the water.
    water
        The water as the legs show it.
    names
        The set-ups that have a double run, numbered as in `sample`.
    sample
        What was compared: ln of those speeds.
    levels
        The fit.
    """

    legs: list[Leg]
    doubles: list[DoubleRun]
    left_out: list[DoubleRun]
    alone: list[Alone]
    speed_mps: FloatArray
    water: Water
    names: list[str]
    sample: Sample
    levels: Levels

    @property
    def counts(self) -> list[int]:
        """How many double runs there are of each set-up."""
        return [sum(one.setup == name for one in self.doubles) for name in self.names]

    @property
    def without(self) -> list[str]:
        """Set-ups that were run and have no double run."""
        return [
            name for name in dict.fromkeys(one.setup for one in self.legs) if name not in self.names
        ]


@dataclass(frozen=True)
class Comparison:
    """What a trial tells.

    Parameters
    ----------
    power_w, slope
        The power compared at, and the curve's slope there.
    setups
        Best first.
    pairs
        Every two of them.
    cautions
        About numbers, order, water and outliers; what the instruments say is another file's.
    evidence
        What it rests on.
    """

    power_w: float
    slope: Slope
    setups: tuple[SetupResult, ...]
    pairs: tuple[PairResult, ...]
    cautions: tuple[Caution, ...]
    evidence: Evidence
