"""What a rider says to the daemon from the views: runs, set-ups, notes, targets, home."""

from typing import Any

import pytest

from groundside.dashboard.views.asking import AGAIN_S
from groundside.source import Update
from onboard.feed.commands import Refused, command_from
from tests.groundside.dashboard_help import (
    SCREENS,
    TARGET,
    Ride,
    SteeredTalk,
    holds_drawn,
    ride,
    snapshot,
)
from tests.groundside.test_dashboard_views import HOME, RUN, press, together


def as_said(talk: SteeredTalk) -> list[dict[str, Any]]:
    """Give what was said, each held by the daemon's own reading of commands."""
    for number, command in enumerate(talk.said, 1):
        assert not isinstance(command_from({**command, "id": number}), Refused), command
    return [{k: v for k, v in command.items() if k != "kind" and v != ""} for command in talk.said]


@pytest.mark.parametrize("size", SCREENS)
def test_runs_are_listed_and_begun(size: tuple[int, int]) -> None:
    talk = SteeredTalk()

    async def act(here: Ride) -> None:
        await here.give(Update(snapshot(setup="A", runs=[RUN])))
        await press(here, "enter", "6")
        assert "back towards 263" in together(here)
        assert "402" in here.text
        await press(here, "r")
        assert as_said(talk) == [{"mark": "run_start"}]
        running = {**RUN, "number": 2, "open": True, "steady_s": 12.0, "long_enough": False}
        await here.give(Update(snapshot(setup="A", runs=[RUN, running])))
        assert "18 s more" in here.text
        assert holds_drawn(here.rows, "12")
        await here.give(Update(snapshot(setup="A", runs=[RUN, {**running, "long_enough": True}])))
        assert "LONG ENOUGH" in here.text
        here.clock.now_s += 5.0

    ride(size, act, talk=talk)


def test_a_setup_is_chosen_or_typed_and_a_note_is_kept() -> None:
    talk = SteeredTalk()

    async def act(here: Ride) -> None:
        await here.give(Update(snapshot(setup="A", setups=["A", "as is"])))
        await press(here, "enter", "6", "s")
        assert "> B new" in together(here)
        await press(here, "enter", "s", "s", "enter", *"two 1", "enter")
        await press(here, "n", *"weed", "enter", "n", *"no", "escape")
        assert here.app.view_name == "runs"  # digits went into the name, not to the tabs

    ride((40, 22), act, talk=talk)
    assert as_said(talk) == [
        {"key": "setup", "value": "B"},
        {"key": "setup", "value": "two 1"},
        {"mark": "note", "text": "weed"},
    ]


def test_what_cannot_be_taken_back_is_asked_twice() -> None:
    talk = SteeredTalk()
    now_s = [0.0]

    async def act(here: Ride) -> None:
        runs = here.app.screen.query_one("#runs")
        runs._asking._clock = lambda: now_s[0]  # type: ignore[attr-defined]
        await here.give(Update(snapshot()))
        await press(here, "6", "f")
        assert "press again within 5 s" in together(here)
        now_s[0] += AGAIN_S + 1.0
        await press(here, "f")
        assert talk.said == []
        now_s[0] += 1.0
        await press(here, "f")
        assert as_said(talk) == [{"mark": "charged_full"}]
        await press(here, "w")
        now_s[0] += 1.0
        await press(here, "n", "escape", "w")
        assert len(talk.said) == 1  # something else in between: it is asked anew

    ride((40, 22), act, talk=talk)


@pytest.mark.parametrize("size", [(40, 22), (80, 24)])
def test_what_was_charged_is_said(size: tuple[int, int]) -> None:
    talk = SteeredTalk()
    now_s = [0.0]

    async def act(here: Ride) -> None:
        runs = here.app.screen.query_one("#runs")
        runs._asking._clock = lambda: now_s[0]  # type: ignore[attr-defined]
        alert = {"code": "charge_unsaid", "level": "warning", "text": "Was it?", "since_s": 30.0}
        await here.give(Update(snapshot(alerts=[alert])))
        await press(here, "enter", "6")
        await here.tap("#actions", "not charged")  # one press
        await here.give(Update(snapshot(alerts=[])))
        assert "not charged" not in here.text
        await press(here, "f")
        assert "so much" in here.text
        await here.tap("#actions", "so much")
        assert "reserve included" in together(here)  # unlike 'left'
        await press(here, *"80", "enter")
        assert "Not understood" in together(here)
        await press(here, *" %", "enter")
        now_s[0] += 10.0
        await press(here, "f", "m", *"6,5 ah", "enter", "f", "escape", "f", "x")
        await press(here, "m", *"250 Wh", "enter")  # at once, as the keys' page says

    ride(size, act, talk=talk)
    assert as_said(talk) == [
        {"mark": "charged", "charged_wh": 0.0},
        {"mark": "charged", "left_fraction": 0.8},
        {"mark": "charged", "charged_ah": 6.5},
        {"mark": "charged", "charged_wh": 0.0},
        {"mark": "charged", "charged_wh": 250.0},
    ]


def test_a_target_is_set_with_a_thumb() -> None:
    talk = SteeredTalk()

    async def act(here: Ride) -> None:
        await here.give(Update(snapshot()))
        await press(here, "enter", "7")
        assert holds_drawn(here.rows, "8.0")  # proposed as now
        await here.tap("#actions", "+1")
        await press(here, "minus", "enter")
        await press(here, "p", "full_stop", "comma", "plus", "enter")
        await press(here, "d", "plus", "enter", "c")

    ride((40, 22), act, talk=talk)
    said = as_said(talk)
    assert said[0] == {"key": "target_speed_mps", "value": pytest.approx(8.9 / 3.6, abs=1e-3)}
    assert said[1] == {"key": "target_power_w", "value": 420.0}
    assert said[2] == {"key": "target_distance_m", "value": 5500.0}
    assert said[3] == {"key": "target_distance_m", "value": None}


def test_the_target_in_force_is_told() -> None:
    async def act(here: Ride) -> None:
        target = {**TARGET, "distance_m": None, "power_w": 400.0, "confidence_fraction": 0.9}
        await here.give(Update(snapshot(target=target)))
        await press(here, "enter", "7", "p")
        said = together(here)
        assert "power 400 W" in said
        assert "ease: 9 % over" in said
        assert "90 % to make it" in said
        assert holds_drawn(here.rows, "400")
        assert "in force" in said

    ride((80, 24), act, talk=SteeredTalk())


def test_enter_answers_the_caution_before_all_else() -> None:
    talk = SteeredTalk()

    async def act(here: Ride) -> None:
        await here.give(Update(snapshot()))
        await press(here, "7", "enter")
        assert "life jacket" not in here.text
        assert talk.said == []
        await press(here, "enter")
        assert len(talk.said) == 1

    ride((40, 22), act, talk=talk)


def test_a_bouncing_thumb_starts_one_run() -> None:
    talk = SteeredTalk()

    async def act(here: Ride) -> None:
        await here.give(Update(snapshot()))
        await press(here, "r", "r")
        assert "a run has begun, but no set-up label" in here.text
        assert len(talk.said) == 1

    ride((80, 24), act, talk=talk)


def test_a_run_counts_what_was_held_since_it_began() -> None:
    async def act(here: Ride) -> None:
        running = {**RUN, "open": True, "steady_s": 10.0, "long_enough": False}
        await here.give(Update(snapshot(runs=[running])))
        assert "steady for 10 s" in here.text  # the craft itself has been steady for 40
        here.clock.now_s += 30.0
        await here.show()
        assert "run 1 A is open" in here.text
        assert "steady for" not in here.text

    ride((80, 24), act)


def test_home_is_set_at_the_second_press_only() -> None:
    talk = SteeredTalk()
    now_s = [0.0]

    async def act(here: Ride) -> None:
        home = here.app.screen.query_one("#home")
        home._asking._clock = lambda: now_s[0]  # type: ignore[attr-defined]
        await here.give(Update(snapshot(home=HOME)))
        await press(here, "4", "o")
        assert "press again within 5 s" in together(here)
        await press(here, "o")
        assert talk.said == []  # too soon for a second thought: a thumb that bounces
        now_s[0] += 1.0
        await press(here, "o")

    ride((40, 22), act, talk=talk)
    assert len(talk.said) == 1


@pytest.mark.parametrize("size", SCREENS)
def test_a_silent_pack_is_said_to_be_unplugged_at_the_second_press(size: tuple[int, int]) -> None:
    talk = SteeredTalk()
    silent = {
        "code": "source_silent",
        "level": "warning",
        "text": "Gone silent: battery 1.",
        "since_s": 3.0,
        "sources": ["battery 1"],
    }

    now_s = [0.0]

    async def act(here: Ride) -> None:
        craft = here.app.screen.query_one("#craft")
        craft._asking._clock = lambda: now_s[0]  # type: ignore[attr-defined]
        await here.give(Update(snapshot()))
        await press(here, "enter", "5", "p")
        assert talk.said == []
        await here.give(Update(snapshot(alerts=[silent])))
        await press(here, "p")
        assert "sure?" in here.text
        now_s[0] += 1.0
        await press(here, "p")
        assert as_said(talk) == [{"mark": "unplugged", "source": "battery 1"}]

    ride(size, act, talk=talk)
