"""A log read for a trial: its seconds, its start, and the spans in which to find runs."""

import itertools
import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from groundside.reports.compare.run_sheet import RunEntry
from groundside.reports.review.summary import PLAUSIBLE_FROM_S
from groundside.reports.sessions.setup_shares import start_setup
from onboard.contract.commands import TrialPlan
from onboard.dataclass import dataclass
from onboard.efficiency.curve.steady import SteadyBlock
from onboard.efficiency.trial.runs import RunSpan, SpanKind
from onboard.efficiency.trial.seconds import LogSeconds, Seconds
from onboard.errors import LogError, UsageError
from onboard.profile import Profile
from onboard.record.marked_runs import last_trial, marked_runs, setup_spans, trial_spans
from onboard.record.marks import in_record, read_marks
from onboard.telemetry.logs.formats import blocks_of, open_log
from onboard.telemetry.logs.log_files import Progress, session_folder
from onboard.telemetry.messages.decoder import Decoder


@dataclass(frozen=True)
class TrialLog:
    """A log, ready for a trial.

    Parameters
    ----------
    path
        The log, as given.
    begins_s
        Start [s since the Unix epoch]; None if the clock was never set.
    zero_s
        Zero of stream time, from the log's first stamp [s].
    seconds, steady
        Seconds and steady stretches, in stream time.
    zero_stamp_s
        The log's stamp at zero of stream time [s]; None if no message was received.
    coached
        Whether the coach was on: it judges the runs as they come, and says when to stop.
    """

    path: Path
    begins_s: float | None
    zero_s: float
    seconds: Seconds
    steady: list[SteadyBlock]
    zero_stamp_s: float | None = None
    coached: bool = False

    @property
    def lasts_s(self) -> float:
        """Return the duration in stream time [s]."""
        return float(self.seconds.t_s[-1]) if len(self.seconds) else 0.0


def read_trial_log(
    path: Path, profile: Profile, system_id: int | None = None, progress: Progress | None = None
) -> TrialLog:
    """Read a whole log.

    Parameters
    ----------
    path
        The log, or a session's folder.
    profile
        The craft.
    system_id
        MAVLink system to follow; None for the profile's, else the one that sends most.
    progress
        Called with the bytes read so far.

    Raises
    ------
    LogError
        If it cannot be read, or lacks the system to follow.
    """
    decoder = Decoder(system_id if system_id is not None else profile.link.system_id)
    gathering, log = LogSeconds(profile), open_log(path)
    for block in blocks_of(log, decoder, progress):
        gathering.fold(block)
    facts = log.facts()
    if decoder.craft.frames and not decoder.messages:
        raise LogError(f"{path}: no autopilot of the system asked for in it")
    first_s, first_receipt_s = facts.first_s, decoder.time.first_receipt_s
    zero_s = 0.0 if first_s is None or first_receipt_s is None else first_receipt_s - first_s
    begins_s = None if first_s is None or first_s < PLAUSIBLE_FROM_S else first_s
    seconds, coached = gathering.seconds(), _trial_of(path) is not None
    return TrialLog(path, begins_s, zero_s, seconds, gathering.steady, first_receipt_s, coached)


def spans_of(entry: RunEntry, log: TrialLog, trial: TrialPlan | None = None) -> list[RunSpan]:
    """Return the spans in which to find runs: the sheet's, else between marks, else the whole log.

    Parameters
    ----------
    entry
        The run in the sheet.
    log
        Its log.
    trial
        The trial that the coach was for; None for the last one in this log's marks, if any.
    """
    if entry.start_s is not None and entry.end_s is not None:
        begin, end = entry.start_s - log.zero_s, entry.end_s - log.zero_s
        return [RunSpan(entry.setup or "", begin, end, True, entry.kind)]
    spans = _marked_spans(log, trial)
    if entry.setup is not None:
        spans = [replace(one, setup=entry.setup) for one in spans]
    if entry.kind is not SpanKind.EITHER:
        spans = [replace(one, kind=entry.kind) for one in spans]
    return spans


def _marked_spans(log: TrialLog, trial: TrialPlan | None) -> list[RunSpan]:
    folder = session_folder(log.path)
    if folder is None:
        return setup_spans(())
    marks, setup = in_record(read_marks(folder), log.zero_stamp_s), start_setup(folder)
    coached = trial_spans(marks, setup, wanted=trial)
    return coached or marked_runs(marks, setup) or setup_spans(marks, setup)


def _trial_of(path: Path) -> TrialPlan | None:
    """Return the last trial that the coach was for in a session; None without."""
    folder = session_folder(path)
    return None if folder is None else last_trial(read_marks(folder))


def read_all(
    entries: list[RunEntry], read: Callable[[Path], TrialLog]
) -> list[tuple[TrialLog, list[RunSpan]]]:
    """Read each log once, in the order of the sheet; return it with the spans of all runs in it.

    Raises
    ------
    UsageError
        If two logs hold the same ride.
    """
    logs: dict[Path, tuple[TrialLog, list[RunSpan]]] = {}
    for entry in entries:
        key = entry.log.resolve()
        if key not in logs:
            logs[key] = read(entry.log), []
    by_time = sorted((log for log, _ in logs.values()), key=lambda log: log.begins_s or 0.0)
    trial = next(filter(None, (_trial_of(log.path) for log in reversed(by_time))), None)
    for entry in entries:
        log, spans = logs[entry.log.resolve()]
        spans.extend(spans_of(entry, log, trial))
    _refuse_copies([log for log, _ in logs.values()])
    return [
        (log, sorted(spans, key=lambda one: max(one.start_s, -math.inf)))
        for log, spans in logs.values()
    ]


def _refuse_copies(logs: list[TrialLog]) -> None:
    for one, other in itertools.combinations(logs, 2):
        same = len(one.seconds) > 0 and all(
            np.array_equal(getattr(one.seconds, name), getattr(other.seconds, name), equal_nan=True)
            for name in ("power_w", "east_mps", "north_mps")
        )
        if same:
            raise UsageError(f"{other.path}: the same ride as {one.path}: each counts once")
