"""All that a comparison found: what text, JSON and page are made of."""

from dataclasses import dataclass

from groundside.reports.compare.cruise_range import CruiseRange
from groundside.reports.compare.power_splits import PairSplit, SetupSplit
from groundside.reports.compare.run_times import RunTimes
from onboard.efficiency.trial.trial import Trial


@dataclass(frozen=True)
class Findings:
    """What a comparison found.

    Parameters
    ----------
    trial
        The comparison, with its cautions.
    times
        When the runs were.
    splits, pairs
        Where the power of each set-up goes, and what makes the difference of each pair.
    cruise
        The set-ups at a cruising speed; None if none was asked for.
    """

    trial: Trial
    times: RunTimes
    splits: list[SetupSplit]
    pairs: list[PairSplit]
    cruise: CruiseRange | None = None
