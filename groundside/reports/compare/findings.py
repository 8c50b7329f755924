"""All that a comparison found, for the text, the JSON and the page."""

from groundside.reports.compare.cruise_range import CruiseRange
from groundside.reports.compare.power_splits import PairSplit, SetupSplit
from groundside.reports.compare.run_times import RunTimes
from onboard.dataclass import dataclass
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
        Where the power of each set-up goes, and what accounts for the difference in each pair.
    cruise
        The set-ups at a cruising speed; None if none was asked for.
    """

    trial: Trial
    times: RunTimes
    splits: list[SetupSplit]
    pairs: list[PairSplit]
    cruise: CruiseRange | None = None
