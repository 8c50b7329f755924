"""The wide screen: everything of the ride in one picture, one cursor, presses that move it."""

from dataclasses import replace

import pytest

from groundside.connection.source import PlacedEvent, Update
from groundside.dashboard.drawing.plotting import plot_area
from groundside.dashboard.layout.wide_rows import wide_places
from groundside.dashboard.widgets.plot import Plot
from groundside.dashboard.widgets.track_map import TrackMap
from onboard.efficiency.trip.trip_line import GrowingLine
from tests.groundside.dashboard.steered_app import (
    SteeredApp,
    SteeredControls,
    SteeredSeekControls,
    holds_drawn,
    replayed,
    run_app,
    snapshot,
)
from tests.made_snapshot import ALERTS, CURVE, HOME, RIDING, TARGET

WIDE = [(120, 40), (144, 40), (200, 60), (240, 70)]


def ride(replay: bool = False) -> Update:
    """Return twelve minutes north and back, of which seven have passed in a replay."""
    line = GrowingLine()
    for second in range(720 if replay else 420):
        north = 1e-5 * min(second, 720 - second)
        line.add(float(second), 2.2 * second, 0.11 * second, (45.0 + north, -30.0 + 1e-6 * second))
    shown = snapshot(
        t_s=420.0,
        newest_t_s=420.0,
        curve=CURVE,
        home=HOME,
        target=TARGET,
        battery=RIDING.battery,
        position_deg=(45.003, -30.0004),
    )
    events = (PlacedEvent(100.0, ALERTS[0]), PlacedEvent(600.0, ALERTS[1]))
    at = replayed(420.0, duration_s=720.0, events=events) if replay else None
    return Update(shown, trip_line=line.record(), replay=at)


@pytest.mark.slow
@pytest.mark.parametrize("replay", [False, True])
@pytest.mark.parametrize("size", WIDE)
def test_one_picture_tells_the_ride(size: tuple[int, int], replay: bool) -> None:
    # A laptop once showed two figures, a table and half a page of nothing.
    async def act(here: SteeredApp) -> None:
        await here.pilot.press("enter")
        await here.give(ride(replay))
        await here.show()
        assert holds_drawn(here.rows, "51")
        assert holds_drawn(here.rows, "16.4")
        assert holds_drawn(here.rows, "EASE")
        for text in ("battery power, speed", "north", "ENOUGH", "home 0.76 km", "consumption"):
            assert here.text.count(text) == 1, text
        empty = sum(not row.strip() for row in here.rows)
        assert empty <= 4
        beside = [row[wide_places(*size).glance :] for row in here.rows]  # type: ignore[union-attr]
        assert sum(not row.strip() for row in beside) <= 4
        assert ("paused" in here.text or "playing" in here.text) is replay
        assert here.text.count("00:07:00 of 00:12:00") == int(replay)

    where = {"controls": SteeredControls(), "places": SteeredSeekControls()} if replay else {}
    run_app(size, act, **where)


@pytest.mark.slow
def test_one_cursor_runs_through_plot_and_bar_and_a_press_moves_it() -> None:
    places = SteeredSeekControls()

    async def act(here: SteeredApp) -> None:
        await here.pilot.press("enter")
        await here.give(ride(replay=True))
        await here.show()
        plot = here.app.screen.query_one("#overview-trip", Plot)
        area = plot_area(plot.content, plot.size.width, plot.size.height)
        assert area is not None
        # 420 of 720 s: the axis is in minutes, with its end drawn a little beyond the ride's
        column = area.left + round(7.0 / area.x.high * (area.columns - 1))
        bar = here.rows[plot.region.y + area.top + area.rows + 2][plot.region.x :]
        axis = here.rows[plot.region.y + area.top + area.rows][plot.region.x :]
        assert bar.index("N") == axis.index("N") == column
        assert bar.count("┃") == 2
        assert axis.count("!") == 2
        cursor = [
            here.rows[plot.region.y + area.top + row][plot.region.x + column]
            for row in range(area.rows)
        ]
        assert sum(cell != " " for cell in cursor) == area.rows

        for row in (1, area.top + area.rows + 2):  # within the plot, and on the bar
            await here.pilot.click("#overview-trip", offset=(area.left + area.columns // 2, row))
            (name, fraction) = places.asked.pop()
            assert name == "go_to"
            middle = area.x.high * (area.columns // 2) / (area.columns - 1) / 12.0
            assert fraction == pytest.approx(middle, abs=1e-6)
        await here.pilot.click("#overview-curve", offset=(20, 5))
        assert places.asked == []

    run_app((120, 40), act, controls=SteeredControls(), places=places)


@pytest.mark.slow
def test_a_press_on_the_track_goes_to_when_the_craft_was_there() -> None:
    places = SteeredSeekControls()

    async def act(here: SteeredApp) -> None:
        await here.pilot.press("enter")
        await here.give(ride(replay=True))
        await here.show()
        track = here.app.screen.query_one("#overview-track", TrackMap)
        track.post_message(TrackMap.Tapped(180.0))
        await here.show()
        assert places.asked == [("go_to", pytest.approx(0.25))]

    run_app((120, 40), act, controls=SteeredControls(), places=places)


@pytest.mark.slow
def test_the_plot_is_chosen_by_key_and_the_axis_too() -> None:
    async def act(here: SteeredApp) -> None:
        await here.pilot.press("enter")
        await here.give(ride())
        for key, title in (("p", "battery power"), ("s", "speed"), ("l", "usable energy")):
            await here.pilot.press(key)
            await here.show()
            plot = here.app.screen.query_one("#overview-trip", Plot)
            assert plot.content.title[0].strip().startswith(title)
        assert plot.content.x.unit == "min"
        await here.pilot.press("x")
        await here.show()
        assert here.app.screen.query_one("#overview-trip", Plot).content.x.unit == "km"

    run_app((120, 40), act)


@pytest.mark.slow
def test_a_screen_that_grows_and_shrinks_keeps_what_it_shows() -> None:
    async def act(here: SteeredApp) -> None:
        await here.pilot.press("enter")
        await here.give(ride())
        for size in ((80, 24), (120, 40), (60, 30), (200, 60), (109, 40), (40, 22), (120, 40)):
            await here.pilot.resize_terminal(*size)
            await here.give(replace(ride()))
            assert holds_drawn(here.rows, "16.4"), size
            wide = wide_places(size[0], size[1] - 6) is not None
            assert ("north" in here.text) is wide, size
            assert [len(row) for row in here.rows] == [size[0]] * size[1]

    run_app((80, 24), act)
