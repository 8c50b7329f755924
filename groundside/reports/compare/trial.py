"""The trial of some logs: all on one clock, and compared."""

from collections.abc import Iterable, Sequence

from groundside.reports.compare.trial_log import TrialLog
from groundside.words.reasons import reason_text
from groundside.words.remarks import remark_text
from groundside.words.units import DEFAULT
from onboard.efficiency.trial.runs import RunSpan
from onboard.efficiency.trial.trial import NoTrial, Trial, TrialRide, trial_of
from onboard.errors import UsageError
from onboard.profile import Sensors

OUTING_GAP_S = 3.0 * 3600.0
"""Pause that separates two outings, between which water, wind and charge change [s]. Common
practice, no source."""

PAUSE_S = 60.0
"""Pause assumed between logs without a usable clock, taken in the order given [s]."""


def run_trial(logs: list[tuple[TrialLog, list[RunSpan]]], sensors: Sensors) -> Trial:
    """Compare the set-ups used in some logs.

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
            logs, _clock([one for one, _ in logs]), strict=True
        )
    ]
    found = trial_of(rides, sensors)
    if isinstance(found, NoTrial):
        raise UsageError(_why_none(found))
    return found


def _why_none(found: NoTrial) -> str:
    if not found.setups:
        passed_over = found.passed_over
        more = f" ({remark_text(passed_over[0], DEFAULT)})" if passed_over else ""
        return f"compare: no straight, steady run was found{more}"
    if len(found.setups) == 1:
        return (
            f"compare: runs of one set-up only, {found.setups[0]!r}: name the set-ups in a run "
            "sheet, [[run]] with setup, log, start_s, end_s, or mark them while riding"
        )
    why = reason_text(found.why, DEFAULT)
    return f"compare: {why}: run each set-up there and back, at one power"


def _clock(logs: list[TrialLog]) -> list[tuple[int, float]]:
    """Return each log's outing, and the offset from stream time to the outing's clock [s]."""
    begins, order = [one.begins_s for one in logs], list(range(len(logs)))
    if None not in begins:
        order.sort(key=lambda n: begins[n] or 0.0)
    placed = _placed(logs, begins, order)
    if placed is None:
        # The logs overlap, but one craft cannot be on two rides at once: the clocks were wrong.
        placed = _placed(logs, [None] * len(logs), range(len(logs))) or {}
    return [placed[n] for n in range(len(logs))]


def _placed(
    logs: list[TrialLog], begins: Sequence[float | None], order: Iterable[int]
) -> dict[int, tuple[int, float]] | None:
    """Return `_clock`'s result, by log number; None if a log begins before the previous one ends.

    Parameters
    ----------
    logs
        The logs.
    begins
        Start of each [s since the Unix epoch]; None if unknown.
    order
        Numbers of the logs, in order of time.
    """
    placed: dict[int, tuple[int, float]] = {}
    outing, end_s = 0, 0.0
    for n in order:
        began = begins[n]
        start_s = end_s + PAUSE_S if began is None else began
        if placed and start_s < end_s:
            return None
        if placed and start_s - end_s > OUTING_GAP_S:
            outing += 1
        placed[n] = outing, start_s + logs[n].zero_s
        end_s = start_s + logs[n].zero_s + logs[n].lasts_s
    return placed
