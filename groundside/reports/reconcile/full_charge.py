"""Whether a charge was full to full, by the marks `charged_full`."""

from collections.abc import Callable, Sequence
from pathlib import Path

from groundside.reports.reconcile.counted_log import CountedLog
from onboard.errors import WattwakeError
from onboard.record.marks import TimedCommand, in_record, read_marks
from onboard.record.sessions import sessions
from onboard.telemetry.logs.log_files import session_folder

HARDLY_FRACTION = 0.01
"""Share of the charge's count up to which a mark counts as at the start or end of a ride: what may
be drawn between them."""


def full_to_full(
    paths: Sequence[Path], counted: Sequence[CountedLog], count: Callable[[Path], CountedLog]
) -> bool:
    """Return whether the pack was marked as full before the first ride and after the charge.

    Parameters
    ----------
    paths
        The rides of one charge, in order.
    counted
        The count of each.
    count
        Counts another session: the mark after the charge may be at the start of the next one.
    """
    hardly_ah = HARDLY_FRACTION * sum(one.counted.charge_ah for one in counted)
    first, last = session_folder(paths[0]), session_folder(paths[-1])
    if first is None or last is None:
        return False
    if not any(counted[0].drawn_ah(t_s) <= hardly_ah for t_s in _full_times(first, counted[0])):
        return False
    left_ah = counted[-1].counted.charge_ah - hardly_ah
    ends = any(counted[-1].drawn_ah(t_s) >= left_ah for t_s in _full_times(last, counted[-1]))
    return ends or _next_begins_full(last, hardly_ah, count)


def _full_times(folder: Path, log: CountedLog) -> list[float | None]:
    """Return the stream times at which the pack was marked as full [s]."""
    return [noted.t_s for noted in in_record(_full_marks(folder), log.zero_stamp_s)]


def _full_marks(folder: Path) -> list[TimedCommand]:
    return [
        noted
        for noted in read_marks(folder)
        if getattr(noted.command, "mark", None) == "charged_full"
    ]


def _next_begins_full(folder: Path, hardly_ah: float, count: Callable[[Path], CountedLog]) -> bool:
    newest_first = [one.resolve() for one in sessions(folder.resolve().parent)]
    place = newest_first.index(folder.resolve()) if folder.resolve() in newest_first else 0
    if place == 0:
        return False
    after = newest_first[place - 1]
    if not _full_marks(after):
        return False
    try:
        counted = count(after)
    except WattwakeError:
        return False
    return any(counted.drawn_ah(t_s) <= hardly_ah for t_s in _full_times(after, counted))
