"""Runs that the rider marked on the water, and the set-up in force during each."""

import math
from collections.abc import Iterable

from onboard.contract.commands import Mark, Set
from onboard.efficiency.curve.learner import PLAIN_SETUP
from onboard.efficiency.trial.runs import RunSpan
from onboard.record.marks import TimedCommand


def marked_runs(marks: Iterable[TimedCommand], setup: str = PLAIN_SETUP) -> list[RunSpan]:
    """Return the runs between the marks run start and run end.

    Parameters
    ----------
    marks
        Marks with stream times of the log.
    setup
        The set-up in force at the start.
    """
    found: list[RunSpan] = []
    begun: float | None = None
    for one in marks:
        if one.t_s is None:
            setup = _setup_after(one, setup)
            continue
        what = one.command.mark if isinstance(one.command, Mark) else None
        changed = _setup_after(one, setup) != setup
        if begun is not None and (what in ("run_start", "run_end") or changed):
            found.append(RunSpan(setup, begun, one.t_s, True))
            begun = None
        if what == "run_start":
            begun = one.t_s
        setup = _setup_after(one, setup)
    if begun is not None:
        found.append(RunSpan(setup, begun, math.inf, True))
    return found


def setup_spans(marks: Iterable[TimedCommand], setup: str = PLAIN_SETUP) -> list[RunSpan]:
    """Return the spans between changes of set-up, in which runs are found automatically.

    Parameters
    ----------
    marks, setup
        See `marked_runs`.
    """
    found: list[RunSpan] = []
    since = -math.inf
    for one in marks:
        changed = _setup_after(one, setup)
        if changed != setup:
            if one.t_s is not None:
                found.append(RunSpan(setup, since, one.t_s, False))
                since = one.t_s
            setup = changed
    return [*found, RunSpan(setup, since, math.inf, False)]


def _setup_after(one: TimedCommand, before: str) -> str:
    command = one.command
    if isinstance(command, Set) and command.key == "setup" and isinstance(command.value, str):
        return command.value
    return before
