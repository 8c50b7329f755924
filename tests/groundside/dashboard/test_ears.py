"""When the bell rings, tested without a terminal; and that the app rings it in one write."""

from typing import Any

import pytest

from groundside.connection.source import Update
from groundside.dashboard.ears import FOR_A_CUE, FOR_DANGER, LEAST_S, Ears
from groundside.dashboard.sounds import Sounds
from groundside.dashboard.view_state import ViewState
from onboard.contract.alerts import Alert, AlertCode
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from tests.groundside.dashboard.steered_app import SteeredApp, replayed, run_app, snapshot, state
from tests.made_snapshot import HOME, TARGET, changed

HOT = Alert(AlertCode.DRIVE_HOT, 1.0, temperature_degc=95.0)
HOTTER = Alert(AlertCode.DRIVE_HOT, 2.0, temperature_degc=96.0)
CUTOFF = Alert(AlertCode.NEAR_CUTOFF, 1.0, volts_v=40.0)
LOW = Alert(AlertCode.ENERGY_LOW, 3.0, left_wh=12.0)
TURN = Alert(AlertCode.TURN_BACK, 1.0)
TURN_BACK = changed(HOME, turn_back=True)
NONE = Unknown(Reason.NO_TARGET)


def cue(word: str, now_s: float = 0.0, **more: Any) -> ViewState:
    return state(snapshot(target=changed(TARGET, cue=word)), now_s=now_s, **more)


def danger(*alerts: Alert, now_s: float = 0.0, **more: Any) -> ViewState:
    return state(snapshot(alerts=alerts), now_s=now_s, **more)


def heard(choice: Sounds, *states: ViewState) -> list[int]:
    """Return the bells after each state; the first state stands at the start."""
    ears = Ears()
    return [ears.bells(each, choice) for each in states]


@pytest.mark.parametrize(("choice", "bells"), [("off", 0), ("danger", 0), ("all", FOR_A_CUE)])
def test_a_changed_cue(choice: Sounds, bells: int) -> None:
    states = (cue("hold"), cue("hold", 5.0), cue("ease", 9.0), cue("ease", 14.0))
    assert heard(choice, *states) == [0, 0, bells, 0]


@pytest.mark.parametrize(
    ("choice", "bells"), [("off", 0), ("danger", FOR_DANGER), ("all", FOR_DANGER)]
)
@pytest.mark.parametrize(
    "shown", [{"alerts": (HOT,)}, {"alerts": (TURN,)}, {"home": TURN_BACK}], ids=str
)
def test_a_new_danger(choice: Sounds, bells: int, shown: dict[str, Any]) -> None:
    new = [state(snapshot(**shown), now_s=at_s) for at_s in (5.0, 9.0)]
    assert heard(choice, state(), *new) == [0, bells, 0]


def test_what_stands_at_the_start_is_not_new() -> None:
    assert heard("all", danger(HOT), danger(HOT, now_s=5.0)) == [0, 0]


def test_a_danger_with_other_values_is_the_same_one() -> None:
    states = (danger(), danger(HOT, now_s=5.0), danger(HOTTER, now_s=9.0))
    assert heard("all", *states) == [0, FOR_DANGER, 0]
    # `turn back` stands in the alerts and in the way home: it is one danger
    both = state(snapshot(alerts=(TURN,), home=TURN_BACK), now_s=9.0)
    assert heard("all", state(), danger(TURN, now_s=5.0), both) == [0, FOR_DANGER, 0]


def test_a_warning_is_not_heard() -> None:
    assert heard("all", danger(), danger(LOW, now_s=5.0)) == [0, 0]


def test_a_danger_that_comes_back_is_new() -> None:
    states = (danger(), danger(HOT, now_s=5.0), danger(now_s=7.0), danger(HOT, now_s=9.0))
    assert heard("danger", *states) == [0, FOR_DANGER, 0, FOR_DANGER]


def test_a_cue_that_comes_back_as_it_was_is_not_changed() -> None:
    none = state(snapshot(target=NONE), now_s=5.0)
    assert heard("all", cue("hold"), none, cue("hold", 9.0)) == [0, 0, 0]
    assert heard("all", cue("hold"), none, cue("push", 9.0)) == [0, 0, FOR_A_CUE]
    assert heard("all", none, cue("hold", 9.0)) == [0, FOR_A_CUE]


def test_one_sound_a_second_and_a_danger_is_not_lost() -> None:
    after_s = (0.0, 5.0, 5.0 + LEAST_S - 0.01, 5.0 + LEAST_S)
    states = (
        danger(now_s=after_s[0]),
        danger(HOT, now_s=after_s[1]),
        danger(HOT, CUTOFF, now_s=after_s[2]),
        danger(HOT, CUTOFF, now_s=after_s[3]),
    )
    assert heard("danger", *states) == [0, FOR_DANGER, 0, FOR_DANGER]


def test_a_cue_that_was_gone_within_the_second_is_dropped() -> None:
    states = (cue("hold"), cue("ease", 5.0), cue("push", 5.4), cue("ease", 6.5))
    assert heard("all", *states) == [0, FOR_A_CUE, 0, 0]


def test_stale_figures_are_not_heard() -> None:
    old = danger(HOT, now_s=5.0, since_received_s=60.0)
    assert heard("all", danger(), old, danger(HOT, now_s=9.0)) == [0, 0, FOR_DANGER]


@pytest.mark.parametrize(
    ("changes", "bells"),
    [
        ({"speed": 1.0, "t_s": 105.0}, FOR_DANGER),
        ({"speed": 2.0, "t_s": 110.0}, 0),
        ({"speed": 1.0, "t_s": 105.0, "paused": True}, 0),
        ({"speed": 1.0, "t_s": 400.0}, 0),  # after a jump
        ({"speed": 1.0, "t_s": 20.0}, 0),
        ({"speed": 1.0, "t_s": 720.0}, 0),  # at its end
    ],
)
def test_a_replay_is_heard_only_while_it_plays_as_it_was(
    changes: dict[str, Any], bells: int
) -> None:
    first = danger(replay=replayed(100.0, speed=1.0), now_s=0.0)
    then = danger(HOT, replay=replayed(**changes), now_s=5.0)
    later = danger(HOT, replay=replayed(changes["t_s"] + 1.0, speed=1.0), now_s=6.0)
    assert heard("all", first, first, then, later) == [0, 0, bells, 0]


def test_a_choice_made_later_brings_up_nothing_old() -> None:
    ears = Ears()
    assert [ears.bells(danger(now_s=0.0), "off"), ears.bells(danger(HOT, now_s=5.0), "off")] == [
        0,
        0,
    ]
    assert ears.bells(danger(HOT, now_s=9.0), "all") == 0


@pytest.mark.slow
def test_the_app_rings_a_danger_in_one_write(monkeypatch: pytest.MonkeyPatch) -> None:
    written: list[str] = []

    async def act(here: SteeredApp) -> None:
        assert here.app._driver is not None
        monkeypatch.setattr(here.app._driver, "write", written.append)
        await here.give(Update(snapshot()))
        here.clock.now_s += 1.5
        await here.give(Update(snapshot(alerts=(HOT,))))
        await here.show()
        assert [text for text in written if "\a" in text] == ["\a\a"]

    run_app((40, 22), act)
