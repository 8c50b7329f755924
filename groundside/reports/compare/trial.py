"""The trial in some logs, put on one clock and compared."""

from groundside.reports.compare.outings import outings_of
from groundside.reports.compare.trial_log import TrialLog
from groundside.words.reasons import reason_text
from groundside.words.remarks import remark_text
from groundside.words.units import DEFAULT
from onboard.efficiency.trial.runs import RunSpan
from onboard.efficiency.trial.trial import NoTrial, Trial, TrialRide, trial_of
from onboard.errors import UsageError
from onboard.profile import Sensors


def run_trial(logs: list[tuple[TrialLog, list[RunSpan]]], sensors: Sensors) -> Trial:
    """Compare the set-ups used in some logs.

    If the coach was on in one of them, a difference needs stronger evidence.

    Parameters
    ----------
    logs
        Logs, each with the spans in which to find runs.
    sensors
        The craft's sensors and their uncertainties.

    Raises
    ------
    UsageError
        If there is nothing to compare.
    """
    rides = [
        TrialRide(log.seconds, log.steady, spans, outing, shift_s, log.path.name, log.zero_s)
        for (log, spans), (outing, shift_s) in zip(
            logs, outings_of([one for one, _ in logs]), strict=True
        )
    ]
    coached = any(log.coached for log, _ in logs)
    found = trial_of(rides, sensors, coached=coached)
    if isinstance(found, NoTrial):
        raise UsageError(_why_none(found))
    return found


def _why_none(found: NoTrial) -> str:
    if not found.setups:
        passed_over = found.passed_over
        more = f" ({remark_text(passed_over[0], DEFAULT)})" if passed_over else ""
        return f"compare: no steady run and no lap was found{more}"
    if len(found.setups) == 1:
        return (
            f"compare: runs of one set-up only, {found.setups[0]!r}: name the set-ups in a run "
            "sheet, [[run]] with setup, log, start_s, end_s, or mark them while riding"
        )
    why = reason_text(found.why, DEFAULT)
    return f"compare: {why}: run each set-up there and back, or in laps, at one power"
