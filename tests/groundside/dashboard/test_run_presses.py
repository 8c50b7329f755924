"""Presses that start or end a run, without a screen."""

import pytest

from groundside.dashboard.run_presses import AGAIN_S, SETTLES_S, RunPresses
from groundside.dashboard.views.confirmation import TOO_SOON_S
from onboard.contract.snapshot import Snapshot
from tests.groundside.dashboard.steered_app import Clock, snapshot
from tests.made_snapshot import COACH, RUN, changed

OPEN = snapshot(runs=(changed(RUN, open=True, long_enough=False),))


def acts(shown: Snapshot, *after_s: float) -> list[str | None]:
    """Return what each press does, `after_s` being the times between them [s]."""
    clock = Clock()
    presses, found = RunPresses(clock), []
    for wait_s in after_s:
        clock.now_s += wait_s
        found.append(presses.pressed(shown))
    return found


@pytest.mark.parametrize(("shown", "act"), [(snapshot(), "start"), (OPEN, "end")])
def test_the_second_press_counts(shown: Snapshot, act: str) -> None:
    assert acts(shown, 0.0, TOO_SOON_S + 0.01) == [None, act]
    assert acts(shown, 0.0, AGAIN_S) == [None, act]
    assert acts(shown, 0.0, AGAIN_S + 0.01, AGAIN_S) == [None, None, act]


def test_a_bouncing_thumb_is_one_press() -> None:
    assert acts(snapshot(), *[0.05] * 6) == [None] * 6
    # after the run has started, until it shows
    assert acts(snapshot(), 0.0, 0.5, *[0.09] * 9) == [None, "start", *[None] * 9]


def test_a_question_about_a_start_is_not_answered_by_an_end() -> None:
    clock = Clock()
    presses = RunPresses(clock)
    assert presses.pressed(snapshot()) is None
    assert presses.asks == "press again to start the run"
    clock.now_s += 1.0
    assert presses.pressed(OPEN) is None  # another viewer started it meanwhile
    assert presses.asks == "press again to end the run"
    clock.now_s += AGAIN_S + 0.01
    assert presses.asks == ""


def test_while_the_coach_leads_one_press_counts() -> None:
    led = snapshot(coach=COACH)
    assert acts(led, 0.0, SETTLES_S - 0.01, 0.01) == ["start", None, "start"]
