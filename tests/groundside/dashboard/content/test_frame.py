"""Content around every view: notices, the age of the data, the time bar of a replay."""

from typing import Any

import pytest

from groundside.connection.source import PlacedEvent
from groundside.dashboard.content.frame import (
    AgeContent,
    ReplayContent,
    age_content,
    frame_content,
    replay_content,
)
from groundside.dashboard.notices import notices
from groundside.dashboard.view_state import ViewState
from groundside.words.units import CHOICES
from onboard.contract.alerts import Alert, AlertCode
from onboard.contract.commands import Mark
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from tests.groundside.dashboard.steered_app import replayed, snapshot, state, waiting

LOW = Alert(AlertCode.ENERGY_LOW, 3.0, left_wh=12.0)
TURN = Alert(AlertCode.TURN_BACK, 1.0)
NOTE = Alert(AlertCode.IMPLAUSIBLE, 1.0)
UNMADE = Alert(AlertCode.CANNOT_BE_MADE, 9.0, to_go_m=18_520.0, best_m=3704.0, best_speed_mps=2.0)


def signed(here: ViewState, *reasons: str) -> list[str]:
    return [notice.signed for notice in notices(here, reasons)]


@pytest.mark.parametrize(
    ("here", "expected"),
    [
        (state(), ["no alerts"]),
        (
            state(snapshot(alerts=(NOTE, LOW, TURN)), refusal="NOT DONE: no"),
            [
                "!! Turn back now: the way home takes all that is left above the reserve.",
                "! NOT DONE: no",
                "! Only 12 Wh left above the reserve: head for home.",
                "- Impossible values were left out: check the sensors and their wiring.",
            ],
        ),
        (
            state(snapshot(alerts=(UNMADE,)), units=CHOICES["kn"]),
            ["! Target, 10.0 NM to go: in doubt at any speed tried. 2.0 NM is sure, at 3.9 kn."],
        ),
        (state(problem="no feed"), ["! no feed"]),
        (state(since_received_s=2.0), ["no alerts"]),
        (state(since_received_s=3.0), ["!! STALE: figures 3 s old, no new data"]),
        (state(since_received_s=5.1), ["!! STALE: figures 5 s old, no feed"]),
        (
            state(since_received_s=4.0, problem="it ended"),
            ["!! STALE: figures 4 s old, it ended"],
        ),
        # the feed runs, but there is no telemetry behind it
        (state(snapshot(link__age_s=6.0)), ["!! STALE: figures 6 s old, no new data"]),
        (
            state(snapshot(link__age_s=Unknown(Reason.NO_AUTOPILOT)), since_received_s=3.0),
            ["!! STALE: old figures, no new data"],
        ),
        # a replay ages only by the gaps in its log, paused or running
        (state(since_received_s=99.0, replay=replayed(paused=True)), ["no alerts"]),
        (state(since_received_s=99.0, replay=replayed(720.0)), ["no alerts"]),
        (state(since_received_s=99.0, replay=replayed()), ["no alerts"]),
        (
            state(snapshot(link__age_s=9.0), replay=replayed()),
            ["!! STALE: figures 9 s old, no new data"],
        ),
        (waiting(since_received_s=99.0), ["- waiting for the first data"]),
        (waiting(problem="no feed at x"), ["! no feed at x"]),
    ],
)
def test_the_worst_notice_is_first(here: ViewState, expected: list[str]) -> None:
    assert signed(here) == expected


def test_reasons_come_last_and_only_once_there_is_data() -> None:
    assert signed(state(snapshot(alerts=(NOTE,))), "left: none")[1:] == ["left: none"]
    assert signed(waiting(), "left: none") == ["- waiting for the first data"]


@pytest.mark.parametrize(
    ("here", "content", "needed"),
    [
        # message rate, losses and link belong to the craft view
        (state(snapshot(link__lost=7)), AgeContent(("data under 1 s old",), fresh=True), False),
        (state(since_received_s=1.4), AgeContent(("data 2 s old",), fresh=True), False),
        (state(since_received_s=3.0), AgeContent(("STALE: data 3 s old",), stale=True), True),
        (
            state(snapshot(link__age_s=Unknown(Reason.NO_AUTOPILOT))),
            AgeContent(("data of unknown age",)),
            True,
        ),
        (state(done="note kept"), AgeContent(("note kept", "data under 1 s old")), True),
        (
            state(done="note kept", since_received_s=3.0),
            AgeContent(("STALE: data 3 s old",), stale=True),
            True,
        ),
        (
            state(asks="press again", done="note kept"),
            AgeContent(("press again", "data under 1 s old"), asks=True),
            True,
        ),
        (
            state(asks="press again", since_received_s=3.0),
            AgeContent(("press again", "STALE: data 3 s old"), stale=True, asks=True),
            True,
        ),
        (waiting(), AgeContent(("no data", "a test")), True),
        (waiting(done="note kept"), AgeContent(("note kept", "no data")), True),
    ],
)
def test_the_age_line(here: ViewState, content: AgeContent, needed: bool) -> None:
    assert age_content(here) == content
    assert content.fresh is not needed


@pytest.mark.parametrize(
    ("changes", "content"),
    [
        ({}, ReplayContent("playing 4x", "00:07:11", "00:12:00", 431.2 / 720.0)),
        ({"paused": True, "speed": 0.5}, ReplayContent("paused 0.5x", "00:07:11", "00:12:00", 0.6)),
        ({"t_s": 720.0}, ReplayContent("at the end 4x", "00:12:00", "00:12:00", 1.0)),
        (
            {"t_s": 720.0, "paused": True},
            ReplayContent("paused 4x", "00:12:00", "00:12:00", 1.0),
        ),
        (
            {"t_s": 0.0, "duration_s": 0.0},
            ReplayContent("at the end 4x", "00:00:00", "00:00:00", 0.0),
        ),
        (
            {
                "ready_fraction": 0.456,
                "events": (PlacedEvent(180.0, TURN), PlacedEvent(900.0, Mark(1, "note", "x"))),
            },
            ReplayContent("playing 4x", "00:07:11", "00:12:00", 0.6, 0.46, (0.25, 1.0)),
        ),
    ],
)
def test_the_time_bar(changes: dict[str, Any], content: ReplayContent) -> None:
    shown = replay_content(replayed(**changes))
    assert shown == ReplayContent(
        content.status,
        content.at,
        content.of,
        pytest.approx(content.fraction, abs=2e-3),
        content.ready_fraction,
        content.events,
    )
    assert replay_content(None) == ReplayContent("playing")


def test_the_frame_has_the_reasons_of_unknown_small_figures() -> None:
    none = Unknown(Reason.NO_BATTERY)
    content = frame_content(state(snapshot(battery=none), replay=replayed()))
    assert [notice.text for notice in content.notices] == [
        "usable, charge: no [battery] in the craft profile"
    ]
    assert content.replay.status == "playing 4x"
