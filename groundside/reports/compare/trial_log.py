"""A log read for a trial: its seconds, when it began, and where runs are to be looked for."""

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from groundside.reports.compare.marked_runs import Span, marked_runs, setup_spans
from groundside.reports.compare.run_sheet import Entry
from groundside.reports.review.summary import PLAUSIBLE_FROM_S
from groundside.reports.sessions.setup_shares import setup_changes, start_setup
from onboard.efficiency.curve.steady import SteadyBlock
from onboard.efficiency.trial.seconds import LogSeconds, Seconds
from onboard.errors import LogError, UsageError
from onboard.profile import Profile
from onboard.record.marks import in_record, read_marks
from onboard.record.sessions import read_session
from onboard.telemetry.logs.formats import blocks_of, open_log
from onboard.telemetry.logs.log_files import Progress, session_folder
from onboard.telemetry.messages.decoder import Decoder


@dataclass(frozen=True)
class ReadLog:
    """What a log gives to a trial.

    Parameters
    ----------
    path
        The log, as given.
    begins_s
        When it begins [s since the Unix epoch]; None where its clock was never set.
    zero_s
        Where stream time is zero, from the log's first stamp [s].
    seconds, steady
        In stream time.
    zero_stamp_s
        The log's stamp where stream time is zero [s]; None where nothing was heard.
    """

    path: Path
    begins_s: float | None
    zero_s: float
    seconds: Seconds
    steady: list[SteadyBlock]
    zero_stamp_s: float | None = None

    @property
    def lasts_s(self) -> float:
        """How long it lasts, in stream time [s]."""
        return float(self.seconds.t_s[-1]) if len(self.seconds) else 0.0


def read_log(
    path: Path, profile: Profile, system_id: int | None = None, progress: Progress | None = None
) -> ReadLog:
    """Read a whole log.

    Parameters
    ----------
    path
        The log, or a session's folder.
    profile
        The craft.
    system_id
        The MAVLink system to follow; None follows the profile's, else the one that sends most.
    progress
        Called as the log is read, with the bytes read so far.

    Raises
    ------
    LogError
        If it cannot be read, or does not hold the system asked for.
    """
    decoder = Decoder(system_id if system_id is not None else profile.link.system_id)
    gathering, log = LogSeconds(profile), open_log(path)
    for block in blocks_of(log, decoder, progress):
        gathering.fold(block)
    facts = log.facts()
    if decoder.craft.frames and not decoder.messages:
        raise LogError(f"{path}: no autopilot of the system asked for in it")
    first_s, heard_s = facts.first_s, decoder.time.first_receipt_s
    zero_s = 0.0 if first_s is None or heard_s is None else heard_s - first_s
    begins_s = None if first_s is None or first_s < PLAUSIBLE_FROM_S else first_s
    return ReadLog(path, begins_s, zero_s, gathering.seconds(), gathering.steady, heard_s)


def spans_of(entry: Entry, log: ReadLog) -> list[Span]:
    """Return where runs are to be looked for: as the sheet says, else between marks, else all over.

    Parameters
    ----------
    entry
        Of the sheet.
    log
        Its log.
    """
    if entry.start_s is not None and entry.end_s is not None:
        begin, end = entry.start_s - log.zero_s, entry.end_s - log.zero_s
        return [Span(entry.setup or "", begin, end, True)]
    spans = _said_spans(log)
    if entry.setup is not None:
        return [Span(entry.setup, one.start_s, one.end_s, one.marked) for one in spans]
    return spans


def _said_spans(log: ReadLog) -> list[Span]:
    folder = session_folder(log.path)
    if folder is None:
        return setup_spans(())
    marks = in_record(read_marks(folder), log.zero_stamp_s)
    setup = start_setup(folder, read_session(folder), setup_changes)
    return marked_runs(marks, setup) or setup_spans(marks, setup)


def read_all(
    entries: list[Entry],
    read: Callable[[Path], ReadLog],
) -> list[tuple[ReadLog, list[Span]]]:
    """Read each log once, in the order of the sheet, with the spans of all its entries.

    Raises
    ------
    UsageError
        If two of them are one ride.
    """
    logs: dict[Path, tuple[ReadLog, list[Span]]] = {}
    for entry in entries:
        key = entry.log.resolve()
        if key not in logs:
            logs[key] = read(entry.log), []
        logs[key][1].extend(spans_of(entry, logs[key][0]))
    _refuse_copies([log for log, _ in logs.values()])
    return [
        (log, sorted(spans, key=lambda one: max(one.start_s, -math.inf)))
        for log, spans in logs.values()
    ]


def _refuse_copies(logs: list[ReadLog]) -> None:
    for one, other in itertools.combinations(logs, 2):
        same = len(one.seconds) > 0 and all(
            np.array_equal(getattr(one.seconds, name), getattr(other.seconds, name), equal_nan=True)
            for name in ("power_w", "east_mps", "north_mps")
        )
        if same:
            raise UsageError(f"{other.path}: the same ride as {one.path}: each counts once")
