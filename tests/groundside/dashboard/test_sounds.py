"""The rider's choice of sounds, kept between runs of the viewer."""

from pathlib import Path

import pytest

from groundside.connection.preferences import Preferences
from groundside.connection.source import Update
from groundside.dashboard.sounds import CHOICES, MEANINGS, next_sounds, sounds_named
from tests.groundside.dashboard.steered_app import SteeredApp, run_app, snapshot


@pytest.mark.parametrize(
    ("stored", "choice"),
    [(None, "danger"), ("", "danger"), ("loud", "danger"), ("all", "all"), ("off", "off")],
)
def test_danger_is_heard_unless_the_rider_chose_otherwise(stored: str | None, choice: str) -> None:
    assert sounds_named(stored) == choice


def test_one_switch_goes_through_all_choices() -> None:
    choice, seen = CHOICES[0], []
    for _ in CHOICES:
        seen.append(choice)
        choice = next_sounds(choice)
    assert (tuple(seen), choice) == (CHOICES, CHOICES[0])
    assert set(MEANINGS) == set(CHOICES)


@pytest.mark.slow
def test_the_choice_is_shown_and_remembered(tmp_path: Path) -> None:
    path = tmp_path / "viewer.json"

    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot()))
        here.app.action_view("more")
        await here.show()
        assert "a sounds: danger" in here.text
        await here.pilot.press("a")
        await here.show()
        assert "a sounds: all" in here.text
        assert "sounds for danger and cues" in here.text

    run_app((80, 24), act, preferences=Preferences(path))
    assert Preferences(path).get("sounds") == "all"
