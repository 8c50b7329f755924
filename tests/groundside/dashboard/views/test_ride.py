"""The ride view, run without a terminal at the sizes of a phone and of laptops."""

from typing import Any

import pytest

from groundside.connection.source import Update
from onboard.contract.alerts import Alert, AlertCode
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from tests.groundside.dashboard.steered_app import (
    SCREENS,
    TO_GO,
    SteeredApp,
    SteeredControls,
    holds_drawn,
    replayed,
    run_app,
    snapshot,
)
from tests.made_snapshot import HOME, changed

pytestmark = pytest.mark.slow
PARTS = "NoticeBar, #ride BigFigure, #ride Cue, #ride FigureTable, AgeLine, ReplayBar, ButtonBar"


def check_layout(here: SteeredApp, size: tuple[int, int]) -> None:
    """Check that nothing scrolls, is cut off or lies beyond the screen."""
    assert [len(row) for row in here.rows] == [size[0]] * size[1]
    assert ".." not in here.text
    screen = here.app.screen
    assert screen.max_scroll_y == 0
    for widget in screen.query(PARTS):
        if widget.display:
            assert widget.region.height == widget.styles.height.value  # type: ignore[union-attr]
            assert screen.region.contains_region(widget.region)


@pytest.mark.parametrize("replay", [False, True])
@pytest.mark.parametrize("size", SCREENS)
def test_everything_is_there_and_nothing_is_cut_off(size: tuple[int, int], replay: bool) -> None:
    async def act(here: SteeredApp) -> None:
        await here.pilot.press("enter")
        for target in (Unknown(Reason.NO_TARGET), TO_GO):
            where = replayed() if replay else None
            await here.give(Update(snapshot(target=target), replay=where))
            check_layout(here, size)
            rows = here.rows
            assert holds_drawn(rows, "51")
            assert holds_drawn(rows, "16.4")
            wanted = ["48 to 54", "ride", "curve", "home", "more"]
            if target is TO_GO:
                assert holds_drawn(rows, "EASE") or (replay and "E A S E" in here.text)
                wanted += ["9 % over budget:", "aim for 46 Wh/km"]
            if size[0] > 40 or target is not TO_GO:
                wanted += ["412 W", "8.0 km/h", "812 Wh", "1.93 km", "93 Wh", "7 min"]
            elif not replay:
                wanted += ["412 W", "8.0 km/h"]
            if size[0] > 40:
                wanted += ["under 1 s old"]
            if replay:
                wanted += ["playing 4x", "space", "pause", "+", "fast"]
            for text in wanted:
                assert text in here.text, text

    run_app(size, act, controls=SteeredControls() if replay else None)


@pytest.mark.parametrize("size", SCREENS)
def test_unknown_stale_and_back_again(size: tuple[int, int]) -> None:
    async def act(here: SteeredApp) -> None:
        await here.show()
        assert "waiting for the first data" in here.text
        await here.give(Update(None, "no feed at 127.0.0.1:27220, trying again in 2 s"))
        together = " ".join(here.text.split())
        assert "no feed at 127.0.0.1:27220, trying again in 2 s" in together
        assert holds_drawn(here.rows, "--")

        quiet = Unknown(Reason.POWER_QUIET, source="", age_s=6.0)
        shown = snapshot(power_w=quiet, range_m__now=Unknown(Reason.NO_BATTERY), target=TO_GO)
        await here.give(Update(shown))
        assert holds_drawn(here.rows, "--")
        assert holds_drawn(here.rows, "51")
        together = " ".join(here.text.split())
        assert "power: no power for 6 s" in together
        assert "[battery] in" in together
        assert "412 W" not in here.text
        assert "▒" not in here.text

        await here.give(Update(None, "feed at x ended, trying again in 1 s"))
        here.clock.now_s += 3.0
        await here.show()
        together = " ".join(here.text.split())
        assert "STALE: figures 3 s old, feed at x ended" in together
        assert "data 3 s old" in here.text
        assert "▒" in here.text
        assert not holds_drawn(here.rows, "51")
        assert not holds_drawn(here.rows, "EASE")

        await here.give(Update(snapshot(seq=13)))
        assert "STALE" not in here.text
        assert "feed at x" not in here.text
        assert holds_drawn(here.rows, "51")

    run_app(size, act)


def test_a_paused_replay_is_not_stale() -> None:
    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot(), replay=replayed(paused=True)))
        here.clock.now_s += 600.0
        await here.show()
        assert "STALE" not in here.text
        assert "paused 4x" in here.text

    run_app((80, 24), act, controls=SteeredControls())


@pytest.mark.parametrize(
    ("end", "expected"),
    [(None, "a test has ended"), (OSError("no such log"), "a test failed: no such log")],
)
def test_a_source_that_ends_or_fails_leaves_the_picture(end: Any, expected: str) -> None:
    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot()), end)
        assert expected in here.text
        assert holds_drawn(here.rows, "51")

    run_app((80, 24), act)


def test_a_danger_is_shown_in_every_view() -> None:
    async def act(here: SteeredApp) -> None:
        await here.pilot.press("enter")
        alerts = (Alert(AlertCode.TURN_BACK, 1.0), Alert(AlertCode.NO_SPEED, 1.0))
        home = changed(HOME, turn_back=True)
        await here.give(Update(snapshot(alerts=alerts, home=home, target=TO_GO)))
        assert holds_drawn(here.rows, "TURN")
        assert "head home now: hold 7.2 km/h" in here.text
        assert not holds_drawn(here.rows, "EASE")
        text = "!! Turn back now: the way home takes all that is left above the reserve"
        for key in "123456789":
            await here.pilot.press(key)
            await here.show()
            assert text in " ".join(here.text.split())
        await here.pilot.press("1")
        await here.show()
        await here.pilot.click("#cue")
        await here.show()
        assert here.app.view_name == "home"

    run_app((40, 22), act)


def test_resizing_lays_everything_out_again() -> None:
    async def act(here: SteeredApp) -> None:
        await here.pilot.press("enter")
        await here.give(Update(snapshot(target=TO_GO)))
        for size in [(120, 40), (40, 22), (30, 12), (80, 24)]:
            await here.pilot.resize_terminal(*size)
            await here.show()
            rows = here.rows
            assert len(rows) == size[1]
            assert "ride" in "".join(rows[-4:])
            assert "16.4" in here.text if size == (30, 12) else holds_drawn(rows, "16.4")

    run_app((80, 24), act)


def test_only_rows_that_changed_are_painted_again() -> None:
    async def act(here: SteeredApp) -> None:
        await here.pilot.press("enter")
        await here.give(Update(snapshot()))
        painted: list[tuple[str, list[int]]] = []
        for widget in here.app.screen.query("*"):
            name = widget.id or type(widget).__name__

            def note(*regions: Any, name: str = name, real: Any = widget.refresh, **kw: Any) -> Any:
                painted.append((name, [region.height for region in regions]))
                return real(*regions, **kw)

            widget.refresh = note  # type: ignore[method-assign]
        await here.give(Update(snapshot(seq=13)))
        assert painted == []
        # the pack's voltage is among the figures for which a phone has no room
        await here.give(Update(snapshot(seq=14, volts_v=44.0)))
        assert painted == []
        await here.give(Update(snapshot(seq=15, power_w=500.0)))
        assert painted == [("figures", [1])]

    run_app((40, 22), act)
