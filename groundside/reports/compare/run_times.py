"""When a run was: seconds in its log, as in a run sheet, and the time of day."""

import datetime
from collections.abc import Sequence

from groundside.reports.compare.outings import outings_of
from groundside.reports.compare.trial_log import TrialLog
from onboard.dataclass import dataclass
from onboard.efficiency.trial.leg import Leg


@dataclass(frozen=True)
class RunTime:
    """When a run began.

    Parameters
    ----------
    log
        The log's name.
    from_s
        Seconds since the log's first stamp.
    utc
        The time of day; None if the clock was never set.
    """

    log: str
    from_s: float
    utc: datetime.datetime | None


class RunTimes:
    """When the runs of some logs were.

    Parameters
    ----------
    logs
        The logs of a trial.
    """

    def __init__(self, logs: Sequence[TrialLog]) -> None:
        self._logs = list(zip(logs, outings_of(logs), strict=True))

    def of(self, leg: Leg) -> RunTime:
        """Return when a leg began."""
        for log, (outing, shift_s) in self._logs:
            t_s = leg.start_s - shift_s
            if (leg.place, leg.outing) == (log.path.name, outing) and -1.0 <= t_s <= log.lasts_s:
                return _time(log, t_s + log.zero_s)
        return RunTime(leg.place, leg.start_s, None)

    def at(self, log_name: str, from_s: float) -> RunTime:
        """Return the time at some seconds from a log's start."""
        for log, _ in self._logs:
            if log.path.name == log_name:
                return _time(log, from_s)
        return RunTime(log_name, from_s, None)

    def text(self, when: RunTime) -> str:
        """Return a time as text, with the log's name if there are several.

        Parameters
        ----------
        when
            What `of` or `at` returned.
        """
        log = f"{when.log} " if len(self._logs) > 1 else ""
        clock = "" if when.utc is None else f", {when.utc:%H:%M} UTC"
        return f"{log}from {when.from_s:.0f} s{clock}"


def _time(log: TrialLog, from_s: float) -> RunTime:
    begins_s = log.begins_s
    utc = None
    if begins_s is not None:
        try:
            utc = datetime.datetime.fromtimestamp(begins_s + from_s, datetime.UTC)
        except (OverflowError, OSError, ValueError):
            utc = None
    return RunTime(log.path.name, from_s, utc)
