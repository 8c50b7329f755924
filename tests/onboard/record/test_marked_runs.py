"""Runs from the rider's marks."""

import math

from onboard.contract.commands import Mark, Set, TrialPlan
from onboard.efficiency.curve.learner import PLAIN_SETUP
from onboard.efficiency.trial.runs import RunSpan, SpanKind
from onboard.record.marked_runs import (
    in_force_after,
    last_trial,
    marked_runs,
    setup_spans,
    trial_spans,
)
from onboard.record.marks import TimedCommand


def start(t_s: float | None) -> TimedCommand:
    return TimedCommand(t_s, 0, None, Mark(1, "run_start", ""))


def end(t_s: float | None) -> TimedCommand:
    return TimedCommand(t_s, 0, None, Mark(1, "run_end", ""))


def note(t_s: float | None) -> TimedCommand:
    return TimedCommand(t_s, 0, None, Mark(1, "note", "a gust"))


def setup(t_s: float | None, label: str | None) -> TimedCommand:
    return TimedCommand(t_s, 0, None, Set(1, "setup", label))


def test_runs_have_the_set_up_in_force() -> None:
    marks = [setup(5, "a"), start(10), end(90), start(120), end(200), setup(210, "b"), start(230),
             end(300)]  # fmt: skip
    assert marked_runs(marks) == [
        RunSpan("a", 10, 90, True), RunSpan("a", 120, 200, True), RunSpan("b", 230, 300, True),
    ]  # fmt: skip


def test_without_a_label_runs_have_the_plain_set_up() -> None:
    assert marked_runs([start(10), end(90)]) == [RunSpan(PLAIN_SETUP, 10, 90, True)]


def test_a_start_ends_the_previous_run_and_a_lone_end_is_ignored() -> None:
    assert marked_runs([end(5), start(10), start(100), end(190), end(200)]) == [
        RunSpan(PLAIN_SETUP, 10, 100, True), RunSpan(PLAIN_SETUP, 100, 190, True),
    ]  # fmt: skip


def test_a_run_without_an_end_lasts_to_the_end_of_the_log() -> None:
    assert marked_runs([start(10), note(50)]) == [RunSpan(PLAIN_SETUP, 10, math.inf, True)]


def test_a_change_of_set_up_ends_a_run() -> None:
    assert marked_runs([setup(1, "a"), start(10), setup(60, "b"), end(90)]) == [
        RunSpan("a", 10, 60, True)
    ]
    # Selecting the same label again does not.
    assert marked_runs([setup(1, "a"), start(10), setup(60, "a"), end(90)]) == [
        RunSpan("a", 10, 90, True)
    ]


def test_a_set_up_selected_before_the_first_message_counts() -> None:
    assert marked_runs([setup(None, "a"), start(None), start(10), end(90)]) == [
        RunSpan("a", 10, 90, True)
    ]


def test_spans_between_changes_of_set_up() -> None:
    marks = [setup(None, "a"), note(50), setup(400, "b"), setup(500, "b"), setup(900, "a")]
    assert setup_spans(marks) == [
        RunSpan("a", -math.inf, 400, False),
        RunSpan("b", 400, 900, False),
        RunSpan("a", 900, math.inf, False),
    ]
    assert setup_spans([]) == [RunSpan(PLAIN_SETUP, -math.inf, math.inf, False)]


def test_other_settings_do_not_change_the_set_up() -> None:
    target = TimedCommand(100, 0, None, Set(1, "target_power_w", 400.0))
    assert setup_spans([target]) == [RunSpan(PLAIN_SETUP, -math.inf, math.inf, False)]
    assert marked_runs([start(10), target, end(90)]) == [RunSpan(PLAIN_SETUP, 10, 90, True)]


PLAN = TrialPlan(("a", "b"), "there_and_back")


def trial(t_s: float | None, plan: TrialPlan | None = PLAN) -> TimedCommand:
    return TimedCommand(t_s, 0, None, Set(1, "trial", plan))


def span(
    setup: str, start_s: float, end_s: float, marked: bool = False,
    kind: SpanKind = SpanKind.THERE_AND_BACK,
) -> RunSpan:  # fmt: skip
    return RunSpan(setup, start_s, end_s, marked, kind)


def test_a_trial_s_spans_are_those_of_its_set_ups_while_it_lasts() -> None:
    marks = [setup(5, "a"), trial(50), setup(100, "b"), setup(200, "other"), setup(300, "a"),
             trial(400, None), setup(500, "b")]  # fmt: skip
    assert trial_spans(marks) == [
        span("a", 50, 100), span("b", 100, 200), span("a", 300, 400),
    ]  # fmt: skip
    assert trial_spans([setup(5, "a"), start(10), end(90)]) is None


def test_a_run_marked_by_hand_wins_where_it_is_and_nowhere_else() -> None:
    """Found: one run marked by hand took back every run that the coach had counted before."""
    marks = [trial(5), setup(10, "a"), start(20), end(80), setup(100, "b"), setup(200, "a")]
    assert trial_spans(marks) == [
        span("a", 10, 20), span("a", 20, 80, True), span("a", 80, 100), span("b", 100, 200),
        span("a", 200, math.inf),
    ]  # fmt: skip
    at_once = [trial(5), setup(10, "a"), start(10), end(80), start(80), end(100), setup(100, "b")]
    assert trial_spans(at_once) == [
        span("a", 10, 80, True), span("a", 80, 100, True), span("b", 100, math.inf),
    ]  # fmt: skip


def test_a_trial_goes_on_over_sessions() -> None:
    marks = [setup(100, "b"), trial(150, None), trial(300), setup(320, "a")]
    assert trial_spans(marks, "a", PLAN) == [
        span("a", -math.inf, 100), span("b", 100, 150), span("b", 300, 320),
        span("a", 320, math.inf),
    ]  # fmt: skip
    assert in_force_after(marks, "b", None) == ("a", PLAN)
    assert in_force_after([trial(10, None)], "a", PLAN) == ("a", None)
    assert last_trial([trial(10, None)], PLAN) == PLAN


def test_the_last_trial_counts_with_what_was_ridden_of_it_before() -> None:
    more = TrialPlan(("b", "c"), "there_and_back")
    marks = [trial(5), setup(10, "a"), setup(100, "b"), trial(150, more), setup(200, "c")]
    assert trial_spans(marks) == [
        span("b", 100, 150), span("b", 150, 200), span("c", 200, math.inf),
    ]  # fmt: skip
    laps = TrialPlan(("b", "c"), "laps")
    assert trial_spans([*marks, trial(300, laps)]) == [span("c", 300, math.inf, kind=SpanKind.LAPS)]
    assert trial_spans([setup(1, "a")], "a", PLAN, more) == []
