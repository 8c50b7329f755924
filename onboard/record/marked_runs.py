"""Runs that the rider marked on the water, and the set-up in force during each."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

from onboard.contract.commands import Mark, Set, TrialPlan
from onboard.efficiency.curve.learner import PLAIN_SETUP
from onboard.efficiency.trial.runs import RunSpan, SpanKind
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


def trial_spans(
    marks: Sequence[TimedCommand],
    setup: str = PLAIN_SETUP,
    plan: TrialPlan | None = None,
    wanted: TrialPlan | None = None,
) -> list[RunSpan] | None:
    """Return the spans of a trial that the rider named, in which to find runs; None without one.

    Each is all that was ridden at a stretch with one of its set-ups; a run that the rider marked by
    hand is one of its own in it. What was ridden under an earlier trial of the same kind counts,
    too: a set-up may be added under way, or the trial begun again.

    Parameters
    ----------
    marks, setup
        See `marked_runs`.
    plan
        The trial in force at the start.
    wanted
        Which trial; None for the last one.
    """
    windows = _trial_windows(marks, plan)
    if not windows:
        return None
    wanted = wanted or windows[-1][2]
    by_hand = marked_runs(marks, setup)
    found: list[RunSpan] = []
    for span in setup_spans(marks, setup):
        for since_s, until_s, named in windows:
            start_s, end_s = max(span.start_s, since_s), min(span.end_s, until_s)
            counts = span.setup in named.setups and span.setup in wanted.setups
            if not counts or named.kind != wanted.kind or start_s >= end_s:
                continue
            kind = SpanKind(named.kind)
            inside = [replace(one, kind=kind) for one in by_hand if start_s <= one.start_s < end_s]
            found += _with_the_rest(inside, RunSpan(span.setup, start_s, end_s, False, kind))
    return found


def _with_the_rest(by_hand: list[RunSpan], whole: RunSpan) -> list[RunSpan]:
    """Return marked runs and what lies before, between and after them, in order of time."""
    found: list[RunSpan] = []
    since_s = whole.start_s
    for one in by_hand:
        if since_s < one.start_s:
            found.append(replace(whole, start_s=since_s, end_s=one.start_s))
        found.append(one)
        since_s = one.end_s
    return [*found, replace(whole, start_s=since_s)] if since_s < whole.end_s else found


def last_trial(marks: Iterable[TimedCommand], plan: TrialPlan | None = None) -> TrialPlan | None:
    """Return the last trial that was in force, ended or not; see `trial_spans`."""
    for one in marks:
        command = one.command
        if isinstance(command, Set) and isinstance(command.value, TrialPlan):
            plan = command.value
    return plan


def in_force_after(
    marks: Iterable[TimedCommand], setup: str = PLAIN_SETUP, plan: TrialPlan | None = None
) -> tuple[str, TrialPlan | None]:
    """Return the set-up and the trial in force after some marks; see `trial_spans`."""
    for one in marks:
        setup, command = _setup_after(one, setup), one.command
        if isinstance(command, Set) and command.key == "trial":
            plan = command.value if isinstance(command.value, TrialPlan) else None
    return setup, plan


def _trial_windows(
    marks: Iterable[TimedCommand], plan: TrialPlan | None
) -> list[tuple[float, float, TrialPlan]]:
    """Return the start, end and plan of each trial, in order of time."""
    found: list[tuple[float, float, TrialPlan]] = []
    since_s = -math.inf
    for one in marks:
        command = one.command
        if not (isinstance(command, Set) and command.key == "trial"):
            continue
        t_s = -math.inf if one.t_s is None else one.t_s
        if plan is not None and t_s > since_s:
            found.append((since_s, t_s, plan))
        plan = command.value if isinstance(command.value, TrialPlan) else None
        since_s = t_s
    return found if plan is None else [*found, (since_s, math.inf, plan)]


def _setup_after(one: TimedCommand, before: str) -> str:
    command = one.command
    if isinstance(command, Set) and command.key == "setup" and isinstance(command.value, str):
        return command.value
    return before
