"""Runs that the rider marked on the water, with the set-up that was in force."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from onboard.contract.commands import Mark, Set
from onboard.efficiency.curve.learner import PLAIN_SETUP
from onboard.record.marks import TimedCommand


@dataclass(frozen=True)
class Span:
    """A stretch of a log to look for runs in.

    Parameters
    ----------
    setup
        The set-up's label.
    start_s, end_s
        In stream time [s]; infinite where there is no end.
    marked
        Whether the rider said that it is a run.
    """

    setup: str
    start_s: float
    end_s: float
    marked: bool


def marked_runs(marks: Iterable[TimedCommand], setup: str = PLAIN_SETUP) -> list[Span]:
    """Return the runs between the marks run start and run end.

    Parameters
    ----------
    marks
        By the stream time of the log.
    setup
        The set-up in force at the start.
    """
    found: list[Span] = []
    begun: float | None = None
    for one in marks:
        if one.t_s is None:
            setup = _setup(one, setup)
            continue
        what = one.command.mark if isinstance(one.command, Mark) else None
        changed = _setup(one, setup) != setup
        if begun is not None and (what in ("run_start", "run_end") or changed):
            found.append(Span(setup, begun, one.t_s, True))
            begun = None
        if what == "run_start":
            begun = one.t_s
        setup = _setup(one, setup)
    if begun is not None:
        found.append(Span(setup, begun, math.inf, True))
    return found


def setup_spans(marks: Iterable[TimedCommand], setup: str = PLAIN_SETUP) -> list[Span]:
    """Return the stretches between changes of the set-up: runs in them are found by themselves.

    Parameters
    ----------
    marks, setup
        See `marked_runs`.
    """
    found: list[Span] = []
    since = -math.inf
    for one in marks:
        changed = _setup(one, setup)
        if changed != setup:
            if one.t_s is not None:
                found.append(Span(setup, since, one.t_s, False))
                since = one.t_s
            setup = changed
    return [*found, Span(setup, since, math.inf, False)]


def _setup(one: TimedCommand, before: str) -> str:
    command = one.command
    if isinstance(command, Set) and command.key == "setup" and isinstance(command.value, str):
        return command.value
    return before
