"""A charge can be entered with buttons alone: the page keeps a phone's keyboard shut."""

import pytest

from groundside.connection.source import Update
from groundside.dashboard.views.charging import UNITS, proposed
from onboard.contract.alerts import Alert, AlertCode
from onboard.contract.commands import AMOUNTS, Amount, Mark
from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from tests.groundside.dashboard.steered_app import (
    SteeredApp,
    SteeredSender,
    commands_sent,
    holds_drawn,
    run_app,
    snapshot,
)
from tests.groundside.dashboard.views.test_views_screen import press, together

KNOWN = {
    "battery__charge_fraction": Figure(0.62, 0.58, 0.66),
    "trip__energy_wh": Figure(93.0, 88.0, 98.0),
    "trip__charge_ah": 1.87,
}
UNSAID = Alert(AlertCode.CHARGE_UNSAID, 30.0, since_utc_s=1.75e9)


@pytest.mark.parametrize(
    ("word", "changes", "number"),
    [
        ("in-percent", {}, 62.0),
        ("in-wh", {}, 90.0),
        ("in-ah", {}, 2.0),
        ("in-percent", {"battery": Unknown(Reason.NO_BATTERY)}, 80.0),
        ("in-wh", {"trip__energy_wh": Figure(3.0)}, 100.0),
        ("in-ah", {"trip__charge_ah": Unknown(Reason.NO_POWER_MONITOR)}, 5.0),
    ],
)
def test_it_starts_from_the_charge_now_or_what_the_trip_used(
    word: str, changes: dict[str, object], number: float
) -> None:
    shown = snapshot(**{**KNOWN, **changes} if "battery" not in changes else changes)
    assert proposed(shown, UNITS[word]) == number


@pytest.mark.slow
@pytest.mark.parametrize(
    ("taps", "number", "amount"),
    [
        (["+10", "+10", "+1", "-1"], "82", ("left_fraction", 0.82)),
        (["in Wh", "+100", "-10"], "180", ("charged_wh", 180.0)),
        (["in Wh", "in Ah", "+5", "-0.5"], "6.5", ("charged_ah", 6.5)),
        (["in Wh", "in Ah", "in %", "+10"], "72", ("left_fraction", 0.72)),
        (["-10"] * 9, "0", ("left_fraction", 0.0)),
        (["+10"] * 9, "100", ("left_fraction", 1.0)),
    ],
)
@pytest.mark.parametrize("size", [(40, 22), (80, 24)])
def test_a_charge_is_said_without_a_keyboard(
    size: tuple[int, int], taps: list[str], number: str, amount: Amount
) -> None:
    sender = SteeredSender()

    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot(**KNOWN)))
        here.app.action_view("runs")
        await here.show()
        await here.tap("#actions", "charged")
        assert "reserve included" in together(here)
        for label in taps:
            await here.tap("#actions", label)
        assert holds_drawn(here.rows, number)
        assert sender.sent == []
        await here.tap("#actions", "send")

    run_app(size, act, sender=sender)
    assert commands_sent(sender) == [Mark(0, "charged", amount=amount)]


@pytest.mark.slow
def test_signs_are_steps_until_something_is_typed() -> None:
    sender = SteeredSender()

    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot(**KNOWN)))
        here.app.action_view("runs")
        await press(here, "enter", "m", ".", ".", "+", "-", "-", ",", "enter")
        await press(here, "m", "+", *"6.5 Ah", "enter")
        await press(here, "m", "escape")

    run_app((40, 22), act, sender=sender)
    assert commands_sent(sender) == [
        Mark(0, "charged", amount=("left_fraction", 0.71)),
        Mark(0, "charged", amount=("charged_ah", 6.5)),
    ]


@pytest.mark.slow
@pytest.mark.parametrize("view", ["ride", "trip", "home", "craft"])
@pytest.mark.parametrize("size", [(40, 22), (120, 40)])
def test_the_question_after_a_pause_leads_there_in_one_press_from_any_view(
    size: tuple[int, int], view: str
) -> None:
    sender = SteeredSender()

    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot(**KNOWN, alerts=(UNSAID,))))
        await press(here, "enter")
        here.app.action_view(view)
        await here.show()
        await here.pilot.click("#notices", offset=(3, 0))
        await here.show()
        assert here.app.view_name == "runs"
        assert holds_drawn(here.rows, "62")
        await here.tap("#actions", "not charged")

    run_app(size, act, sender=sender)
    assert commands_sent(sender) == [Mark(0, "charged", amount=("charged_wh", 0.0))]


@pytest.mark.slow
def test_a_tap_on_another_notice_does_nothing() -> None:
    sender = SteeredSender()

    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot(alerts=())))
        await press(here, "enter")
        await here.pilot.click("#notices", offset=(3, 0))
        await here.show()
        assert here.app.view_name == "ride"

    run_app((40, 22), act, sender=sender)
    assert sender.sent == []


def test_no_number_is_beyond_what_can_be_stated() -> None:
    shown = snapshot(battery__charge_fraction=Figure(1.2), trip__energy_wh=Figure(1e9))
    for word in ("in-percent", "in-wh"):
        unit = UNITS[word]
        assert proposed(shown, unit) * unit.scale <= AMOUNTS[unit.kind]
