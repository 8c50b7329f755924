"""A trial in the runs view: named, coached, ended."""

import pytest

from groundside.connection.source import Update
from onboard.contract.coach import Step, StepCode
from onboard.contract.commands import Mark, Set, TrialPlan
from tests.groundside.dashboard.steered_app import (
    SCREENS,
    SteeredApp,
    SteeredSeekControls,
    SteeredSender,
    commands_sent,
    run_app,
    snapshot,
)
from tests.groundside.dashboard.views.test_views_screen import press, together
from tests.made_snapshot import COACH, RUN, changed

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("size", SCREENS)
def test_a_trial_is_named_by_typing(size: tuple[int, int]) -> None:
    sender = SteeredSender()

    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot(setup="A", setups=("A", "as is"))))
        await press(here, "enter", "6", "c", *"slim prop", "enter", *"7", "enter", *"A", "enter")
        assert "slim prop, 7, A." in together(here)
        assert sender.sent == []
        await press(here, "enter", "b", *"250", "enter", "enter")

    run_app(size, act, sender=sender)
    plan = TrialPlan(("slim prop", "7", "A"), "there_and_back")
    assert commands_sent(sender) == [Set(0, "target_power_w", 250.0), Set(0, "trial", plan)]


@pytest.mark.parametrize("size", SCREENS)
def test_a_trial_is_named_with_a_thumb(size: tuple[int, int]) -> None:
    sender = SteeredSender()

    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot(setup="A", setups=("A", "slim", "as is"))))
        await press(here, "enter", "6")
        for label in ("coach", "add", "next", "add", "go on", "laps", "+50", "-10", "start"):
            await here.tap("#actions", label)

    run_app(size, act, sender=sender)
    plan = TrialPlan(("A", "B"), "laps")
    assert commands_sent(sender) == [Set(0, "target_power_w", 450.0), Set(0, "trial", plan)]


def test_a_power_that_is_none_and_a_name_given_twice_do_no_harm() -> None:
    sender = SteeredSender()

    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot()))
        await press(here, "enter", "6", "c", *"A", "enter", *"A", "enter", "enter")
        assert "name the set-ups" in together(here)  # one is not enough
        await press(here, *"B", "enter", "enter", "l", *"9x", "enter")
        assert "Not understood" in together(here)
        await press(here, "escape")
        assert "no run open" in together(here)

    run_app((80, 24), act, sender=sender)
    assert sender.sent == []


def test_a_name_in_other_capitals_is_the_same_set_up() -> None:
    """'slim' and 'Slim' once were two propellers of one trial."""
    sender = SteeredSender()

    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot(setup="broad", setups=("broad", "as is"))))
        await press(here, "enter", "6", "c", *"slim", "enter", *"Slim", "enter")
        assert "slim. slim is already on the list." in together(here)
        await press(here, *"Broad", "enter", "enter", "b", "enter")
        await press(here, "s", *"BROAD", "enter")

    run_app((40, 22), act, sender=sender)
    plan = TrialPlan(("slim", "broad"), "there_and_back")
    assert commands_sent(sender)[1:] == [Set(0, "trial", plan), Set(0, "setup", "broad")]


def test_back_takes_back_one_answer() -> None:
    """A slip in the seventh name once cost the other six."""
    sender = SteeredSender()

    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot()))
        await press(here, "enter", "6", "c", *"slim", "enter", *"brod", "enter", *"ol", "escape")
        assert "slim, brod." in together(here)
        await press(here, "escape", *"broad", "enter", "enter", "l", "escape", "b", *"20", "escape")
        assert "slim, broad. Battery power to hold: 410 W." in together(here)
        await press(here, "enter")
        await press(here, "c", *"A", "enter", "escape", "escape", "escape", "r")
        here.clock.now_s += 1.0
        await press(here, "r")

    run_app((80, 24), act, sender=sender)
    plan = TrialPlan(("slim", "broad"), "there_and_back")
    assert commands_sent(sender)[1:] == [Set(0, "trial", plan), Mark(0, "run_start")]


def test_of_twelve_names_the_last_can_be_taken_back() -> None:
    sender = SteeredSender()
    names = "ABCDEFGHIJKL"

    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot()))
        await press(here, "enter", "6", "c", *(key for name in names for key in (name, "enter")))
        assert "How do you ride?" in together(here)
        await press(here, "escape", *"Z", "enter", "l", "enter")

    run_app((80, 24), act, sender=sender)
    assert commands_sent(sender)[1:] == [Set(0, "trial", TrialPlan((*names[:-1], "Z"), "laps"))]


@pytest.mark.parametrize("size", SCREENS)
def test_the_swap_that_the_coach_asks_for_is_one_press(size: tuple[int, int]) -> None:
    sender = SteeredSender()
    swap = changed(COACH, step=Step(StepCode.SWAP, setup="slim"))

    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot(setup="A", coach=COACH)))
        await press(here, "enter", "6", "y")
        assert sender.sent == []  # nothing was asked for
        await here.give(Update(snapshot(setup="A", coach=swap)))
        assert "Stop the motor" in together(here)
        await press(here, "y")

    run_app(size, act, sender=sender)
    assert commands_sent(sender) == [Set(0, "setup", "slim")]


def test_the_key_of_a_swap_is_shown_however_long_the_name() -> None:
    """With 'three blades' to put on, the button once read 'is on' alone."""

    async def act(here: SteeredApp) -> None:
        swap = changed(COACH, step=Step(StepCode.SWAP, setup="three blades"))
        await here.give(Update(snapshot(setup="A", coach=swap)))
        await press(here, "enter", "6")
        assert "y three.. is on" in together(here)

    run_app((120, 40), act, sender=SteeredSender())


def test_a_saved_ride_with_a_coach_shows_its_runs_too() -> None:
    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot(setup="A", coach=COACH, runs=(RUN,))))
        await press(here, "enter", "6")
        assert "A on, there and back" in here.text
        await press(here, "v")
        assert "long enough" in here.text
        await press(here, "z", "z", "y", "v")
        assert "A on, there and back" in here.text

    run_app((80, 24), act, places=SteeredSeekControls())


def test_with_long_names_what_is_asked_for_stays_on_a_phone() -> None:
    """The names once pushed the power off the page."""
    names = [f"three blades of carbon no {number}" for number in range(7)]

    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot()))
        await press(here, "enter", "6", "c", *(key for name in names for key in (*name, "enter")))
        assert "7 named, the last is three blades of carbon no 6. The next name" in together(here)
        await press(here, "enter", "l")
        assert "Battery power to hold: 410 W." in together(here)

    run_app((40, 22), act, sender=SteeredSender())


def test_the_coach_ends_on_the_second_press() -> None:
    sender = SteeredSender()

    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot(setup="A", coach=COACH, runs=(RUN,))))
        await press(here, "enter", "6", "v")
        assert "s settled" in here.text or "no run open" in here.text
        await press(here, "v", "z")
        assert "press again" in together(here).lower()
        assert sender.sent == []
        here.clock.now_s += 1.0
        await press(here, "z")

    run_app((40, 22), act, sender=sender)
    assert commands_sent(sender) == [Set(0, "trial", None)]
