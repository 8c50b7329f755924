"""For which trip the caution was read: remembered over restarts of the viewer, but no longer."""

import os
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from groundside.connection.preferences import Preferences
from groundside.connection.source import Update
from groundside.dashboard.caution_memory import DAY_S, FELL_S, CautionMemory
from groundside.dashboard.view_state import ViewState
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from tests.groundside.dashboard.steered_app import (
    Clock,
    SteeredApp,
    replayed,
    run_app,
    snapshot,
    state,
    waiting,
)


def at(elapsed_s: float, source: str = "feed", **more: Any) -> ViewState:
    return state(snapshot(trip__elapsed_s=elapsed_s), source=source, **more)


class Viewer:
    """Viewers of one machine, one after the other."""

    def __init__(self, path: Path | None) -> None:
        self.path = path
        self.wall = Clock()
        self.wall.now_s = 1.7e9
        self.start_again()

    def start_again(self) -> None:
        self.memory = CautionMemory(Preferences(self.path), wall_clock=self.wall)


@pytest.fixture
def viewer(tmp_path: Path) -> Viewer:
    """Return a viewer in which the caution was read 60 s into a trip."""
    viewer = Viewer(tmp_path / "viewer.json")
    assert viewer.memory.stands(at(60.0))
    viewer.memory.was_read()
    assert not viewer.memory.stands(at(60.0))
    return viewer


def test_it_stays_gone_when_the_viewer_is_started_again_in_the_same_trip(viewer: Viewer) -> None:
    viewer.wall.now_s += 1800.0
    viewer.start_again()
    assert not viewer.memory.stands(at(1860.0))
    viewer.start_again()  # even before the craft has answered
    assert viewer.memory.stands(replace(waiting(), source="feed"))
    assert not viewer.memory.stands(at(1861.0))


def test_a_new_trip_asks_again(viewer: Viewer) -> None:
    viewer.wall.now_s += 1800.0
    viewer.start_again()
    assert viewer.memory.stands(at(900.0))  # started half-way between
    viewer.memory.was_read()
    assert not viewer.memory.stands(at(901.0))
    assert not viewer.memory.stands(at(901.0 - FELL_S))
    assert viewer.memory.stands(at(1.0))  # started while the viewer ran


def test_another_day_asks_again(viewer: Viewer) -> None:
    viewer.wall.now_s += DAY_S + 60.0
    viewer.start_again()
    assert viewer.memory.stands(at(DAY_S + 120.0))


def test_another_craft_asks_again(viewer: Viewer) -> None:
    viewer.wall.now_s += 60.0
    viewer.start_again()
    assert viewer.memory.stands(at(120.0, source="another feed"))


def test_a_clock_set_back_asks_again(viewer: Viewer) -> None:
    viewer.wall.now_s -= 3600.0
    viewer.start_again()
    assert viewer.memory.stands(at(120.0))


def test_read_before_the_first_data_it_is_stored_with_them(tmp_path: Path) -> None:
    viewer = Viewer(tmp_path / "viewer.json")
    viewer.memory.was_read()
    assert not viewer.memory.stands(replace(waiting(), source="feed"))
    assert not viewer.memory.stands(at(5.0))
    viewer.wall.now_s += 60.0
    viewer.start_again()
    assert not viewer.memory.stands(at(65.0))


def test_of_a_replay_nothing_is_stored_and_going_back_does_not_ask(tmp_path: Path) -> None:
    viewer = Viewer(tmp_path / "viewer.json")
    viewer.memory.was_read()
    for elapsed_s in (500.0, 3.0):
        assert not viewer.memory.stands(at(elapsed_s, replay=replayed()))
    viewer.start_again()
    assert viewer.memory.stands(at(500.0, replay=replayed()))


@pytest.mark.parametrize("text", ["", "x", "nan feed", "inf feed", "-1 feed"])
def test_what_cannot_be_read_asks_again(tmp_path: Path, text: str) -> None:
    viewer = Viewer(tmp_path / "viewer.json")
    Preferences(viewer.path).put("caution_read", text)
    viewer.start_again()
    assert viewer.memory.stands(at(60.0))


def test_without_an_elapsed_time_it_is_gone_for_this_viewer() -> None:
    viewer = Viewer(None)
    unknown = state(snapshot(trip__elapsed_s=Unknown(Reason.NO_DATA)))
    assert viewer.memory.stands(unknown)
    viewer.memory.was_read()
    assert not viewer.memory.stands(unknown)


@pytest.mark.slow
@pytest.mark.parametrize("served", [False, True])
def test_a_served_page_leaves_the_board_s_preferences_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, served: bool
) -> None:
    # its own parent: the end watch would end this very process for a server that is gone
    server = os.getppid() if served else None
    monkeypatch.setattr("groundside.dashboard.app.served_by", lambda: server)
    preferences = Preferences(tmp_path / "viewer.json")

    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot()))
        await here.pilot.press("enter")
        await here.show()
        assert "reserve." not in here.text

    run_app((40, 22), act, preferences=preferences)
    assert (preferences.get("caution_read") is None) == served
