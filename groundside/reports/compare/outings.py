"""The outings of a trial: its logs on one clock, divided where there was a long pause."""

from collections.abc import Iterable, Sequence

from groundside.reports.compare.trial_log import TrialLog
from onboard.efficiency.trial.trial_practice import OUTING_GAP_S

PAUSE_S = 60.0
"""Pause assumed between logs without a usable clock, taken in the order given [s]."""


def outings_of(logs: Sequence[TrialLog]) -> list[tuple[int, float]]:
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
    logs: Sequence[TrialLog], begins: Sequence[float | None], order: Iterable[int]
) -> dict[int, tuple[int, float]] | None:
    """Return the result of `outings_of` by log number; None if logs overlap.

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
