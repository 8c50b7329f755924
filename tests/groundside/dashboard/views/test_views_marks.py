"""Commands that views send to the daemon: runs, set-ups, notes, targets, home."""

import pytest

from groundside.connection.source import Update
from groundside.dashboard.keys import KEYS
from groundside.dashboard.views.confirmation import AGAIN_S, TOO_SOON_S
from groundside.dashboard.views.runs import RunsView
from groundside.words.units import CHOICES
from onboard.contract.alerts import Alert, AlertCode
from onboard.contract.commands import Amount, Mark, Set
from tests.groundside.dashboard.steered_app import (
    SCREENS,
    SteeredApp,
    SteeredControls,
    SteeredSeekControls,
    SteeredSender,
    commands_sent,
    holds_drawn,
    run_app,
    snapshot,
)
from tests.groundside.dashboard.views.test_views_screen import press, together
from tests.made_snapshot import HOME, RUN, changed

pytestmark = pytest.mark.slow
OPEN = changed(RUN, number=2, open=True, steady_s=12.0, long_enough=False)


@pytest.mark.parametrize("size", SCREENS)
def test_runs_are_listed_and_begun(size: tuple[int, int]) -> None:
    sender = SteeredSender()

    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot(setup="A", runs=(RUN,))))
        await press(here, "enter", "6")
        assert "back towards 263" in together(here)
        assert "402" in here.text
        await press(here, "r")
        assert "r sure?" in here.text
        here.clock.now_s += 1.0
        await press(here, "r")
        assert commands_sent(sender) == [Mark(0, "run_start")]
        await here.give(Update(snapshot(setup="A", runs=(RUN, OPEN))))
        assert "18 s more" in here.text
        assert holds_drawn(here.rows, "12")
        await here.give(Update(snapshot(setup="A", runs=(RUN, changed(OPEN, long_enough=True)))))
        assert "LONG ENOUGH" in here.text

    run_app(size, act, sender=sender)


def test_a_setup_is_chosen_or_typed_and_a_note_is_sent() -> None:
    sender = SteeredSender()

    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot(setup="A", setups=("A", "as is"))))
        await press(here, "enter", "6", "s")
        assert "> B new" in together(here)
        await press(here, "enter", "s", "down", "enter", *"two 1", "enter")
        await press(here, "s", "up", "down", "escape")
        await press(here, "n", *"weed", "enter", "n", *"no", "escape")
        assert here.app.view_name == "runs"  # digits went into the name, not to the tabs

    run_app((40, 22), act, sender=sender)
    assert commands_sent(sender) == [
        Set(0, "setup", "B"),
        Set(0, "setup", "two 1"),
        Mark(0, "note", "weed"),
    ]


@pytest.mark.parametrize("size", SCREENS)
def test_letters_typed_while_a_setup_is_chosen_are_its_name(size: tuple[int, int]) -> None:
    """'slim prop' once started a run, paused the replay and opened a note."""
    sender, controls, places = SteeredSender(), SteeredControls(), SteeredSeekControls()

    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot(setup="A", setups=("A", "as is"))))
        await press(here, "enter", "6", "s", *"slim prop")
        assert "slim prop" in here.text
        assert here.app.view_name == "runs"
        assert sender.sent == []
        await press(here, "enter")

    run_app(size, act, sender=sender, controls=controls, places=places)
    assert commands_sent(sender) == [Set(0, "setup", "slim prop")]
    assert controls.asked == []
    assert places.asked == []


def test_letters_in_an_open_field_are_never_commands() -> None:
    """Every key of the app and of the view, typed into a note and into a charge."""
    sender, controls, places = SteeredSender(), SteeredControls(), SteeredSeekControls()
    letters = sorted(
        key
        for key in {name for key in KEYS for name in key.names} | {key.key for key in RunsView.KEYS}
        if len(key) == 1
    )
    note = f"{''.join(letters)} 1234567890 -+?.,"
    assert {"q", "r", "t", "u", "h", "f", "m", "s"} <= set(letters)

    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot()))
        await press(here, "enter", "6", "n")
        theme, units = here.app.theme, here.app.units
        await press(here, *note, "enter")
        await press(here, "m", *"full", "enter")
        await press(here, "m", *"6.5", "enter")
        assert "A number of what?" in together(here)
        await here.tap("#actions", "Ah")
        # Before the field has the focus, and after it lost it, letters are text all the same.
        await press(here, "n")
        here.app.screen.set_focus(None)
        await press(here, *"rq", "escape")
        assert (here.app.theme, here.app.units, here.app.view_name) == (theme, units, "runs")

    run_app((40, 22), act, sender=sender, controls=controls, places=places)
    assert commands_sent(sender) == [
        Mark(0, "note", note),
        Mark(0, "charged", amount=("left_fraction", 1.0)),
        Mark(0, "charged", amount=("charged_ah", 6.5)),
    ]
    assert controls.asked == []
    assert places.asked == []


@pytest.mark.parametrize("size", SCREENS)
@pytest.mark.parametrize(
    ("typed", "button", "amount"),
    [
        ("250", "Wh", ("charged_wh", 250.0)),
        ("80", "%", ("left_fraction", 0.8)),
        ("", "full", ("left_fraction", 1.0)),
        ("", "not charged", ("charged_wh", 0.0)),
    ],
)
def test_a_charge_is_one_tap_and_a_number(
    size: tuple[int, int], typed: str, button: str, amount: Amount
) -> None:
    sender = SteeredSender()

    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot()))
        await press(here, "enter", "6")
        await here.tap("#actions", "charged")
        await press(here, *typed)
        await here.tap("#actions", button)

    run_app(size, act, sender=sender)
    assert commands_sent(sender) == [Mark(0, "charged", amount=amount)]


def test_irreversible_actions_need_confirmation() -> None:
    sender = SteeredSender()

    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot()))
        await press(here, "6", "f")
        assert "press again within 5 s" in together(here)
        here.clock.now_s += AGAIN_S + 1.0
        await press(here, "f")
        assert sender.sent == []
        here.clock.now_s += TOO_SOON_S + 0.01
        await press(here, "f")
        assert commands_sent(sender) == [Mark(0, "charged_full")]
        await press(here, "w")
        here.clock.now_s += 1.0
        await press(here, "n", "escape", "w")
        assert len(sender.sent) == 1  # another key in between: it is asked again
        here.clock.now_s += 1.0
        await press(here, "w")
        assert commands_sent(sender)[1:] == [Mark(0, "new_trip")]

    run_app((40, 22), act, sender=sender)


def test_a_charge_is_marked() -> None:
    sender = SteeredSender()

    async def act(here: SteeredApp) -> None:
        alert = Alert(AlertCode.CHARGE_UNSAID, 30.0, since_utc_s=1.75e9)
        await here.give(Update(snapshot(alerts=(alert,))))
        await press(here, "enter", "6")
        await here.tap("#actions", "not charged")  # one press
        await here.give(Update(snapshot(alerts=())))
        assert "not charged" not in here.text
        await press(here, "f")
        assert "so much" in here.text
        await here.tap("#actions", "so much")
        assert "reserve included" in together(here)  # unlike 'left'
        await press(here, *"80", "enter")
        assert "A number of what?" in together(here)
        await press(here, *" percent", "enter")
        assert "Not understood" in together(here)
        await press(here, *("backspace",) * len("percent"), "%", "enter")
        here.clock.now_s += 10.0
        await press(here, "f", "m", *"6,5 ah", "enter", "f", "escape", "f", "x")
        await press(here, "m", *"250 Wh", "enter")  # at once, as the keys' page says

    run_app((40, 22), act, sender=sender)
    assert commands_sent(sender) == [
        Mark(0, "charged", amount=amount)
        for amount in (
            ("charged_wh", 0.0),
            ("left_fraction", 0.8),
            ("charged_ah", 6.5),
            ("charged_wh", 0.0),
            ("charged_wh", 250.0),
        )
    ]


@pytest.mark.parametrize(
    ("units", "proposed", "speed_mps"),
    [("km/h", "8.0", 8.9 / 3.6), ("kn", "4.3", 5.2 * 1852 / 3600)],
)
def test_a_target_is_set_with_a_thumb(units: str, proposed: str, speed_mps: float) -> None:
    sender = SteeredSender()

    async def act(here: SteeredApp) -> None:
        here.app.units = CHOICES[units]
        await here.give(Update(snapshot()))
        await press(here, "enter", "7")
        assert holds_drawn(here.rows, proposed)  # as now
        await here.tap("#actions", "+1")
        await press(here, "minus", "enter")
        await press(here, "p", "full_stop", "comma", "plus", "enter")
        await press(here, "d", "plus", "enter", "c")

    run_app((40, 22), act, sender=sender)
    distance_m = 5.5 * CHOICES[units].distance_unit_m
    assert commands_sent(sender) == [
        Set(0, "target_speed_mps", pytest.approx(speed_mps, abs=1e-3)),
        Set(0, "target_power_w", 420.0),
        Set(0, "target_distance_m", pytest.approx(distance_m)),
        Set(0, "target_distance_m", None),
    ]


def test_enter_confirms_the_caution_first() -> None:
    sender = SteeredSender()

    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot()))
        await press(here, "7", "enter")
        assert "life jacket" not in here.text
        assert sender.sent == []
        await press(here, "enter")
        assert len(sender.sent) == 1

    run_app((40, 22), act, sender=sender)


def test_a_bouncing_thumb_starts_one_run() -> None:
    sender = SteeredSender()

    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot()))
        await press(here, "r", "r")
        assert sender.sent == []
        here.clock.now_s += 1.0
        await press(here, "r", "r")
        assert "run started, but no set-up label" in here.text
        assert len(sender.sent) == 1

    run_app((80, 24), act, sender=sender)


def test_home_is_set_only_on_the_second_press() -> None:
    sender = SteeredSender()

    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot(home=HOME)))
        await press(here, "4", "o")
        assert "Press again within 5 s" in together(here)
        assert "sure?" in here.text
        here.clock.now_s += TOO_SOON_S - 0.01
        await press(here, "o")
        assert sender.sent == []  # too soon to be intended: a bouncing thumb
        here.clock.now_s += 0.02
        await here.tap("#actions", "sure?")
        assert commands_sent(sender) == [Set(0, "home", "here")]
        assert "sure?" not in here.text
        await press(here, "o")
        here.clock.now_s += AGAIN_S + 0.1
        await here.give(Update(snapshot(home=HOME)))
        assert "home here" in here.text
        await press(here, "o")
        assert len(sender.sent) == 1  # too late: it is asked again
        await press(here, "1", "4")
        here.clock.now_s += 1.0
        await press(here, "o")
        assert len(sender.sent) == 1  # the question is dropped when the view is hidden

    run_app((40, 22), act, sender=sender)


def test_a_silent_pack_is_marked_as_unplugged_on_the_second_press() -> None:
    sender = SteeredSender()
    silent = Alert(AlertCode.SOURCE_SILENT, 3.0, sources=("battery 1",))

    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot()))
        await press(here, "enter", "8", "p")
        assert sender.sent == []
        await here.give(Update(snapshot(alerts=(silent,))))
        await press(here, "p")
        assert "sure?" in here.text
        here.clock.now_s += 1.0
        await press(here, "p")
        assert commands_sent(sender) == [Mark(0, "unplugged", source="battery 1")]

    run_app((40, 22), act, sender=sender)
