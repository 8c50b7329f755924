"""The ride view, run without a terminal at the sizes of a phone and of laptops."""

from typing import Any

import pytest

from groundside.dashboard.widgets.cue import Cue
from groundside.dashboard.widgets.hero import Hero
from groundside.source import Update
from tests.groundside.dashboard_help import (
    SCREENS,
    TARGET,
    Ride,
    SteeredControls,
    holds_drawn,
    ride,
    snapshot,
)


@pytest.mark.parametrize("target", [None, TARGET])
@pytest.mark.parametrize("replay", [False, True])
@pytest.mark.parametrize("size", SCREENS)
def test_everything_is_there_and_nothing_is_cut_off(
    size: tuple[int, int], replay: bool, target: dict[str, Any] | None
) -> None:
    async def act(here: Ride) -> None:
        await here.pilot.press("enter")
        shown = snapshot(target=target)
        if replay:
            shown["replay"] = {"speed": 4.0, "paused": False, "t_s": 431.2, "duration_s": 720.0}
        await here.give(Update(shown))
        rows = here.rows
        assert len(rows) == size[1]
        assert all(len(row) == size[0] for row in rows)
        assert holds_drawn(rows, "51")
        assert holds_drawn(rows, "16.4")
        wanted = ["under 1 s old", "48 to 54", "ride", "curve", "home", "more"]
        if target is not None:
            assert holds_drawn(rows, "EASE")
            wanted += ["9 % over", "aim 46 Wh/km"]
        if size[0] > 40 or target is None:
            wanted += ["412 W", "8.0 km/h", "812 Wh", "1.93 km", "93 Wh", "00:07:11"]
        elif not replay:
            wanted += ["412 W", "8.0 km/h"]
        if replay:
            wanted += ["playing 4x", "space pause", "+ faster"]
        for text in wanted:
            assert text in here.text, text
        assert ".." not in here.text
        screen = here.app.screen
        assert screen.max_scroll_y == 0
        parts = "NoticeBar, #ride Hero, #ride Cue, #ride FigureTable, AgeLine, ReplayBar, ButtonBar"
        for widget in screen.query(parts):
            if widget.display:
                assert widget.region.height == widget.styles.height.value  # type: ignore[union-attr]
                assert screen.region.contains_region(widget.region)

    ride(size, act, controls=SteeredControls() if replay else None)


@pytest.mark.parametrize("size", SCREENS)
@pytest.mark.parametrize("cue", ["ease", "hold", "push"])
def test_a_cue_has_its_place_and_shape(size: tuple[int, int], cue: str) -> None:
    async def act(here: Ride) -> None:
        await here.pilot.press("enter")
        await here.give(Update(snapshot(target={**TARGET, "cue": cue})))
        assert holds_drawn(here.rows, cue.upper())
        region = here.app.screen.query_one(Cue).region
        rows = here.rows[region.y : region.bottom - 1]
        if cue == "ease":
            widths = [len(row.split()[0]) for row in rows[:-1]]
            assert widths[0] == max(widths)
            assert rows[0][1] == "█"
        elif cue == "push":
            widths = [len(row.split()[-1]) for row in rows[:-1]]
            assert widths[0] == min(widths)
            assert rows[-1].rstrip()[-1] == "█"
        else:
            assert sum(row.strip()[:2] == "██" == row.strip()[-2:] for row in rows) >= 2

    ride(size, act)


@pytest.mark.parametrize("size", SCREENS)
def test_unknown_shows_dashes_and_the_reason(size: tuple[int, int]) -> None:
    async def act(here: Ride) -> None:
        shown = snapshot(
            power_w=None,
            range_m={"now": None, "why": {"now": "no battery in the profile"}},
            why={"power_w": "no power sample for 6 s"},
        )
        await here.give(Update(shown))
        assert holds_drawn(here.rows, "--")
        assert holds_drawn(here.rows, "51")
        together = " ".join(here.text.split())
        assert "power: no power sample for 6 s" in together
        assert "no battery in" in together
        assert "412 W" not in here.text

    ride(size, act)


@pytest.mark.parametrize("size", SCREENS)
def test_silence_makes_the_figures_stale(size: tuple[int, int]) -> None:
    async def act(here: Ride) -> None:
        await here.give(Update(snapshot(target=TARGET)))
        assert "STALE" not in here.text
        assert "▒" not in here.text
        here.clock.now_s += 3.0
        await here.show()
        assert "STALE: figures 3 s old" in here.text
        assert "data 3 s old" in here.text
        assert "▒" in here.text
        assert not holds_drawn(here.rows, "51")
        assert not holds_drawn(here.rows, "EASE")
        await here.give(Update(snapshot(seq=13)))
        assert "STALE" not in here.text
        assert holds_drawn(here.rows, "51")

    ride(size, act)


def test_a_feed_without_telemetry_behind_it_is_stale_too() -> None:
    async def act(here: Ride) -> None:
        link = {"age_s": 6.0, "messages_per_s": 0.0, "lost": 0, "source": "udpin:0.0.0.0:14550"}
        await here.give(Update(snapshot(link=link)))
        assert "STALE: figures 6 s old" in here.text

    ride((40, 22), act)


def test_a_paused_replay_is_not_stale() -> None:
    async def act(here: Ride) -> None:
        replay = {"speed": 4.0, "paused": True, "t_s": 431.2, "duration_s": 720.0}
        await here.give(Update(snapshot(replay=replay)))
        here.clock.now_s += 600.0
        await here.show()
        assert "STALE" not in here.text
        assert "paused 4x" in here.text

    ride((80, 24), act, controls=SteeredControls())


def test_before_the_first_data_it_says_what_it_waits_for() -> None:
    async def act(here: Ride) -> None:
        await here.show()
        assert "waiting for the first data" in here.text
        await here.give(Update(None, "no feed at 127.0.0.1:27220, trying again in 2 s"))
        together = " ".join(here.text.split())
        assert "no feed at 127.0.0.1:27220, trying again in 2 s" in together
        assert holds_drawn(here.rows, "--")

    ride((40, 22), act)


def test_a_feed_that_is_lost_and_found() -> None:
    async def act(here: Ride) -> None:
        await here.give(Update(snapshot()), Update(None, "feed at x ended, trying again in 1 s"))
        here.clock.now_s += 4.0
        await here.show()
        assert "feed at x ended" in here.text
        assert "STALE" in here.text
        await here.give(Update(snapshot(seq=99)))
        assert "feed at x ended" not in here.text

    ride((80, 24), act)


def test_a_source_that_ends_or_fails_leaves_the_picture() -> None:
    async def ends(here: Ride) -> None:
        await here.give(Update(snapshot()), None)
        assert "a test has ended" in here.text
        assert holds_drawn(here.rows, "51")

    async def fails(here: Ride) -> None:
        await here.give(Update(snapshot()), OSError("no such log"))
        assert "a test failed: no such log" in here.text
        assert holds_drawn(here.rows, "51")

    ride((80, 24), ends)
    ride((80, 24), fails)


@pytest.mark.parametrize("size", SCREENS)
def test_a_danger_can_be_read_whole(size: tuple[int, int]) -> None:
    async def act(here: Ride) -> None:
        text = "Battery low, 9 % left above the reserve: turn back now"
        alerts = [
            {"code": "low", "level": "danger", "text": text, "since_s": 1.0},
            {"code": "hot", "level": "warning", "text": "Motor hot: ease off", "since_s": 1.0},
        ]
        await here.give(Update(snapshot(alerts=alerts, target=TARGET)))
        top = " ".join(" ".join(here.rows[:3]).split())
        assert top.startswith(f"!! {text}")
        assert "+1" in top or "! Motor hot: ease off" in top
        for key in "2345678":
            await here.pilot.press(key)
            await here.show()
            assert text in " ".join(here.text.split())

    ride(size, act)


@pytest.mark.parametrize("size", SCREENS)
def test_turn_back_is_told_in_big_type(size: tuple[int, int]) -> None:
    async def act(here: Ride) -> None:
        await here.pilot.press("enter")
        text = "Turn back now: the energy left is what the way home takes."
        alerts = [{"code": "turn_back", "level": "danger", "text": text, "since_s": 1.0}]
        home = {"distance_m": 900.0, "turn_back": True}
        await here.give(Update(snapshot(alerts=alerts, home=home, target=TARGET)))
        assert holds_drawn(here.rows, "TURN")
        assert "back home now" in here.text
        assert not holds_drawn(here.rows, "EASE")
        await here.pilot.click(Cue)
        await here.show()
        assert here.app.view_name == "home"

    ride(size, act)


def test_resizing_lays_everything_out_anew() -> None:
    async def act(here: Ride) -> None:
        await here.pilot.press("enter")
        await here.give(Update(snapshot(target=TARGET)))
        for size in [(120, 40), (40, 22), (80, 24), (30, 12), (40, 22)]:
            await here.pilot.resize_terminal(*size)
            await here.show()
            rows = here.rows
            assert len(rows) == size[1]
            assert "ride" in "".join(rows[-3:])
            assert holds_drawn(rows, "16.4") or size == (30, 12)
            assert "16.4" in here.text or holds_drawn(rows, "16.4")

    ride((80, 24), act)


def test_only_rows_that_changed_are_painted_again() -> None:
    async def act(here: Ride) -> None:
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

    ride((40, 22), act)


def test_heroes_keep_one_size_whatever_they_show() -> None:
    async def act(here: Ride) -> None:
        await here.pilot.press("enter")
        heights = set()
        for value_m in (420.0, 9_400.0, 16_400.0, 142_000.0):
            await here.give(Update(snapshot(range_m={"now": {"value": value_m}})))
            region = here.app.screen.query_one("#range", Hero).region
            assert region.height >= 5
            drawn = [row for row in here.rows[region.y : region.bottom] if "█" in row or "▀" in row]
            heights.add(len(drawn))
        assert len(heights) == 1

    ride((40, 22), act)
