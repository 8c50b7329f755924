"""Keys, clicks, themes and the help view of the dashboard."""

from pathlib import Path

import pytest
from textual.geometry import Region

from groundside.connection.commands import CommandResult
from groundside.connection.preferences import Preferences
from groundside.connection.source import Update
from groundside.dashboard.app import DONE_S, REFUSAL_S
from groundside.dashboard.keys import KEYS
from groundside.dashboard.notices import CAUTION, SHORT_CAUTION
from groundside.dashboard.run_presses import AGAIN_S, SETTLES_S
from groundside.dashboard.views.all import VIEW_KEYS, VIEWS
from groundside.dashboard.widgets.button_bar import ButtonBar
from onboard.contract.commands import Mark
from onboard.contract.refusals import Refusal, RefusalCode
from tests.groundside.dashboard.steered_app import (
    SCREENS,
    TO_GO,
    SteeredApp,
    SteeredControls,
    SteeredSeekControls,
    SteeredSender,
    holds_drawn,
    run_app,
    snapshot,
)
from tests.made_snapshot import COACH, RUN, changed

pytestmark = pytest.mark.slow
NAMES = [view.NAME for view in VIEWS]


def test_the_units_key_and_the_theme_key_cycle() -> None:
    async def act(here: SteeredApp) -> None:
        await here.pilot.press("enter")
        await here.give(Update(snapshot()))
        seen = []
        for _ in range(5):
            seen.append(next(u for u in ("km/h", "m/s", "kn", "mph") if f" {u} " in here.text))
            if seen[-1] == "kn":
                # by hand: 51 Wh/km * 1.852 = 94.45 Wh/NM; 16.4 km / 1.852 = 8.86 NM
                assert holds_drawn(here.rows, "94")
                assert holds_drawn(here.rows, "8.9")
            await here.pilot.press("u")
            await here.show()
        assert seen == ["km/h", "m/s", "kn", "mph", "km/h"]
        themes = []
        for _ in range(4):
            themes.append(here.app.theme)
            await here.pilot.press("t")
        assert themes == ["sun", "night", "mono", "sun"]

    run_app((40, 22), act)


def test_no_color_is_respected(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")

    async def act(here: SteeredApp) -> None:
        assert here.app.theme == "mono"

    run_app((40, 22), act)


@pytest.mark.parametrize("way", ["tap", "key"])
@pytest.mark.parametrize("size", SCREENS)
def test_the_caution_is_one_row_and_goes_with_one_press(size: tuple[int, int], way: str) -> None:
    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot(target=TO_GO)))
        words = SHORT_CAUTION if size[0] == 40 else CAUTION
        (row,) = [row for row in here.rows if words in row]
        assert row.endswith(" enter ")
        if way == "tap":
            await here.pilot.click("#caution", offset=(3, 0))
        else:
            await here.pilot.press("enter")
        await here.show()
        assert words not in here.text

    run_app(size, act)


@pytest.mark.parametrize("size", SCREENS)
def test_every_key_is_in_the_help_view(size: tuple[int, int]) -> None:
    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot()))
        await here.pilot.press("h")
        pages = []
        for _ in range(14):
            await here.show()
            pages.append(here.text)
            await here.pilot.press("n")
        together = " ".join(" ".join(pages).split())
        for key in (*VIEW_KEYS, *KEYS):
            assert f"{key.label} {key.meaning}" in together, key
        for own in (key for view in VIEWS for key in view.KEYS):
            assert f"{own.key} {own.meaning}" in together, own
        for words in ("95 % interval", "STALE", "life jacket", "damaged packs are"):
            assert words in together, words

    everything = {
        "controls": SteeredControls(),
        "places": SteeredSeekControls(),
        "sender": SteeredSender(),
    }
    run_app(size, act, **everything)


def test_every_button_of_a_view_has_a_key_of_the_table() -> None:
    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot()))
        for view in VIEWS:
            here.app.action_view(view.NAME)
            await here.show()
            own = {key.key for key in view.KEYS}
            for _ in range(2):
                buttons = here.app.screen.query_one("#actions", ButtonBar).content or ()
                assert {button.key for button in buttons} <= own | {"r", "u", "t", "a", "q"}, view
                if view.NAME == "runs":  # again, while a set-up is being chosen
                    await here.pilot.press("s")
                    await here.show()

    run_app((120, 40), act, sender=SteeredSender())


def test_keys_and_taps_control_a_replay() -> None:
    controls, places = SteeredControls(), SteeredSeekControls()

    async def act(here: SteeredApp) -> None:
        await here.pilot.press("space", "plus", "equals_sign", "minus", "left", "right", "b", "e")
        assert controls.asked == ["pause_or_go", "faster", "faster", "slower"]
        wanted = [("jump", -60.0), ("jump", 60.0), ("event_before", None), ("next_event", None)]
        assert places.asked == wanted
        await here.give(Update(snapshot()))
        await here.tap("#controls", "faster")
        assert controls.asked[4:] == ["faster"]
        await here.tap("#controls", "minute back")
        assert places.asked[4:] == [("jump", -60.0)]
        assert "no later event" not in here.text
        await here.pilot.press("e")
        await here.show()
        assert "no later event" in here.text

    run_app((40, 22), act, controls=controls, places=places)


def test_each_view_is_one_key_and_one_tap_away() -> None:
    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot()))
        for number, name in enumerate(NAMES, 1):
            await here.pilot.press(str(number))
            assert here.app.view_name == name
        for name in NAMES:
            await here.tap("#tabs", name)
            assert here.app.view_name == name
        await here.tap("#tabs", "ride")
        for name in (*NAMES[1:], NAMES[0]):
            await here.pilot.press("tab")
            assert here.app.view_name == name

    run_app((40, 22), act)


@pytest.mark.parametrize("size", SCREENS)
def test_no_view_scrolls_or_overflows(size: tuple[int, int]) -> None:
    async def act(here: SteeredApp) -> None:
        await here.pilot.press("enter")
        await here.give(Update(snapshot(target=TO_GO)))
        screen = here.app.screen
        for name in NAMES:
            here.app.action_view(name)
            for _ in range(2):
                await here.show()
            assert screen.max_scroll_y == screen.max_scroll_x == 0
            assert [len(row) for row in here.rows] == [size[0]] * size[1]
            view = screen.query_one(f"#{name}")
            for widget in view.query("*"):
                if widget.display and widget.region.area:
                    assert view.region.contains_region(widget.region), (name, widget)
                    assert not widget.is_scrollable or widget.max_scroll_y == 0, (name, widget)

    run_app(size, act, sender=SteeredSender())


def test_a_run_begins_and_ends_with_two_presses() -> None:
    sender = SteeredSender()

    async def again(here: SteeredApp) -> None:
        here.clock.now_s += AGAIN_S - 0.01
        await here.pilot.press("r")
        await here.show()

    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot()))
        await here.pilot.press("r", "r", "r")  # a thumb that bounces
        await here.show()
        assert sender.sent == []
        assert "press again to start the run" in here.text
        await again(here)
        assert sender.sent == [Mark(0, "run_start")]
        assert "press again" not in here.text
        run = changed(RUN, open=True, steady_s=40.0, long_enough=False)
        await here.give(Update(snapshot(runs=(run,))))
        assert "steady for 40 s" in here.text
        here.clock.now_s += SETTLES_S - 0.01
        await here.pilot.press("r")
        await again(here)
        await here.show()
        assert sender.sent[1:] == []  # the first of these two came too soon to count
        assert "press again to end the run" in here.text
        await again(here)
        assert sender.sent[1:] == [Mark(0, "run_end")]

    run_app((40, 22), act, sender=sender)


def test_a_press_too_late_asks_again() -> None:
    sender = SteeredSender()

    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot()))
        for _ in range(3):
            await here.pilot.press("r")
            here.clock.now_s += AGAIN_S + 0.01
        await here.show()
        assert sender.sent == []
        assert "press again" not in here.text

    run_app((40, 22), act, sender=sender)


def test_the_coach_takes_one_press() -> None:
    sender = SteeredSender()

    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot(coach=COACH)))
        await here.pilot.press("r")
        await here.show()
        assert sender.sent == [Mark(0, "run_start")]
        here.clock.now_s += SETTLES_S - 0.01
        await here.pilot.press("r")
        await here.show()
        assert sender.sent[1:] == []

    run_app((40, 22), act, sender=sender)


def test_no_run_is_started_while_a_rider_types() -> None:
    sender = SteeredSender()

    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot()))
        here.app.action_view("runs")
        await here.show()
        await here.pilot.press("n")
        for _ in range(4):
            await here.pilot.press("r")
            here.clock.now_s += 1.0
        await here.show()
        assert "rrrr" in here.text
        assert sender.sent == []
        assert "press again" not in here.text

    run_app((40, 22), act, sender=sender)


@pytest.mark.parametrize(
    ("answer", "words"),
    [
        (CommandResult(True), "run started"),
        (
            CommandResult(False, Refusal(RefusalCode.TOO_MANY_WAIT)),
            "NOT DONE: too many commands are waiting: try again",
        ),
        (CommandResult(None, "no answer"), "UNSURE: no answer"),
    ],
)
def test_the_result_of_a_command_is_shown_for_a_while(answer: CommandResult, words: str) -> None:
    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot(coach=COACH)))
        await here.pilot.press("r")
        await here.show()
        assert words in " ".join(here.text.split())
        here.clock.now_s += (DONE_S if answer.ok else REFUSAL_S) + 0.1
        await here.give(Update(snapshot(seq=13)))
        assert words not in " ".join(here.text.split())

    run_app((40, 22), act, sender=SteeredSender(answer))


def test_units_and_theme_are_remembered(tmp_path: Path) -> None:
    path = tmp_path / "sub" / "viewer.json"

    async def act(here: SteeredApp) -> None:
        await here.pilot.press("u", "t")

    run_app((40, 22), act, preferences=Preferences(path))
    kept = Preferences(path)
    assert (kept.get("units"), kept.get("theme")) == ("m/s", "night")

    async def again(here: SteeredApp) -> None:
        assert here.app.theme == "night"

    run_app((40, 22), again, preferences=kept)


@pytest.mark.parametrize("text", ["", "{", "[]", '{"theme": 3}', '{"theme": "loud"}', "[" * 9999])
def test_invalid_preferences_do_no_harm(tmp_path: Path, text: str) -> None:
    path = tmp_path / "viewer.json"
    path.write_text(text)

    async def act(here: SteeredApp) -> None:
        assert here.app.theme == "sun"

    run_app((40, 22), act, preferences=Preferences(path))


@pytest.mark.parametrize("locked", [False, True])
def test_ctrl_l_paints_the_whole_screen_anew(locked: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    painted: list[Region] = []

    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot()))
        await here.pilot.press(*"k" if locked else "t")
        await here.show()

        def record(_screen: object, update: object) -> None:
            if hasattr(update, "region"):  # the toolkit updates a whole region, not lines
                painted.append(update.region)

        monkeypatch.setattr(here.app, "_display", record)
        await here.give(Update(snapshot(power_w=100.0)))
        assert painted == []
        await here.pilot.press("ctrl+l")
        await here.show()
        assert painted == [here.app.size.region]

    run_app((80, 24), act)
