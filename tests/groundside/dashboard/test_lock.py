"""The lock against wet hands: on its own, and over the whole dashboard."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundside.connection.source import Update
from groundside.dashboard.lock import WITHIN_S, End, Lock, LockState
from onboard.contract.alerts import Alert, AlertCode
from tests.groundside.dashboard.steered_app import (
    SCREENS,
    Clock,
    SteeredApp,
    SteeredControls,
    SteeredSeekControls,
    SteeredSender,
    replayed,
    run_app,
    snapshot,
)

PRESSES: list[End | None] = ["left", "right", None]


def locked_at(clock: Clock) -> Lock:
    lock = Lock(clock)
    lock.lock()
    return lock


@pytest.mark.parametrize("order", [("left", "right"), ("right", "left")])
def test_both_buttons_unlock_in_either_order(order: tuple[End, End]) -> None:
    clock = Clock()
    lock = locked_at(clock)
    lock.press(order[0])
    assert lock.state == LockState(True, order[0])
    clock.now_s += WITHIN_S
    lock.press(order[1])
    assert lock.state == LockState()


def test_the_second_press_may_come_too_late() -> None:
    clock = Clock()
    lock = locked_at(clock)
    lock.press("left")
    clock.now_s += WITHIN_S + 0.01
    assert lock.state == LockState(True)
    lock.press("right")
    assert lock.state == LockState(True, "right")


def test_a_stray_press_between_the_two_starts_over() -> None:
    lock = locked_at(Clock())
    for end in ("left", None, "right"):
        lock.press(end)  # type: ignore[arg-type]
    assert lock.state == LockState(True, "right")


@given(spray=st.lists(st.tuples(st.sampled_from(PRESSES), st.floats(0.0, 1.0)), max_size=60))
def test_spray_unlocks_only_by_one_button_right_after_the_other(
    spray: list[tuple[End | None, float]],
) -> None:
    clock = Clock()
    lock = locked_at(clock)
    for end, wait_s in spray:
        lock.press(end)
        clock.now_s += wait_s
    hits = [end for end, _ in spray]
    pairs = {frozenset(pair) for pair in pairwise(hits)}
    assert lock.state.locked == (frozenset(("left", "right")) not in pairs)


@pytest.mark.slow
@pytest.mark.parametrize("size", [*SCREENS, (60, 30)])
def test_while_locked_no_key_and_no_tap_does_anything(size: tuple[int, int]) -> None:
    controls, places, sender = SteeredControls(), SteeredSeekControls(), SteeredSender()
    low = Alert(AlertCode.ENERGY_LOW, 3.0, left_wh=12.0)

    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot(alerts=(low,)), replay=replayed()))
        await here.pilot.press("k")
        await here.show()
        before = here.rows
        assert "locked" in here.text
        assert "unlock" in here.text
        assert not here.app.screen.query_one("#tabs").display
        assert "keep a reserve" in here.text.lower()
        assert "Only 12 Wh left" in here.text
        for key in (
            *"123456789rutahqbenpsc+-., ",
            *("tab", "enter", "escape", "space", "left", "right", "shift+tab"),
        ):
            await here.pilot.press(key)
        for y in range(0, size[1] - 1, 4):
            for x in range(0, size[0], size[0] // 4):
                if here.app.screen.get_widget_at(x, y)[0].id != "lock":
                    await here.pilot.click(offset=(x, y))
        await here.show()
        assert here.rows == before
        assert (controls.asked, places.asked, sender.sent) == ([], [], [])
        assert here.app.theme == "sun"
        for _ in range(9):  # spray that hits one button many times
            await here.pilot.click("#lock", offset=(1, 0))
        await here.show()
        assert "now this" in here.text
        await here.pilot.click("#lock", offset=(size[0] - 2, 0))
        await here.show()
        assert here.app.screen.query_one("#tabs").display
        await here.pilot.press("k", "u", "k")
        await here.show()
        assert here.app.screen.query_one("#tabs").display
        await here.pilot.press("t")
        assert here.app.theme == "night"

    run_app(size, act, controls=controls, places=places, sender=sender)


@pytest.mark.slow
def test_the_program_can_be_ended_while_it_is_locked() -> None:
    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot()))
        await here.pilot.press("k", "q")
        await here.show()
        assert here.app.return_code is None
        await here.pilot.press("ctrl+q")
        assert here.app.return_code == 0

    run_app((40, 22), act)


@pytest.mark.slow
def test_a_note_being_typed_waits_for_the_unlocking() -> None:
    sender = SteeredSender()

    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot()))
        here.app.action_view("runs")
        await here.show()
        await here.pilot.press("n", *"weed")
        await here.tap("#tabs", "lock")
        await here.pilot.press(*"xyz", "enter", "escape")
        await here.show()
        assert sender.sent == []
        await here.pilot.press("u", "k")
        await here.show()
        await here.pilot.press(*" off", "enter")
        await here.show()
        assert [command.text for command in sender.sent] == ["weed off"]  # type: ignore[union-attr]

    run_app((80, 24), act, sender=sender)
