"""The track view on a whole screen: sizes, near and all, taps, late viewers."""

from dataclasses import replace

import pytest

from groundside.connection.source import Update
from groundside.dashboard.drawing.track_drawing import map_frame, map_top
from groundside.dashboard.views.all import VIEWS
from groundside.dashboard.widgets.track_map import TrackMap
from onboard.contract.codec import as_line, from_line
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.contract.trip_line import TripLine
from tests.groundside.dashboard.steered_app import (
    SCREENS,
    SteeredApp,
    SteeredSeekControls,
    replayed,
    run_app,
    snapshot,
)
from tests.groundside.dashboard.views.test_views_screen import press, together
from tests.made_snapshot import HOME, changed

pytestmark = pytest.mark.slow

KEY = str([view.NAME for view in VIEWS].index("track") + 1)
METRE_DEG = 1.0 / 111_132.0
"""A metre along a meridian at 45 deg of latitude (WGS 84)."""

_ROWS = [
    (10.0 + 2.0 * n, 4.0 * n, 0.2 * n, (45.0 + 4.0 * n * METRE_DEG, -30.0)) for n in range(300)
]
_T_S, _MADE, _ENERGY, _PLACES = zip(*_ROWS, strict=True)
LINE = TripLine(_T_S, _MADE, _ENERGY, 2.0, _PLACES)
"""Ten minutes due north at 2 m/s and 360 W, from 10 s on."""
AWAY = changed(HOME, distance_m=_MADE[-1], bearing_deg=180.0)
RIDING = snapshot(t_s=_T_S[-1], position_deg=_PLACES[-1], home=AWAY)


@pytest.mark.parametrize("size", [*SCREENS, (200, 60)])
def test_it_shows_the_way_home_and_craft(size: tuple[int, int]) -> None:
    async def act(here: SteeredApp) -> None:
        await here.give(Update(RIDING, trip_line=LINE))
        await press(here, "enter", KEY)
        for word in ("▲ north", "N now", "H home", " m ", "Wh/km", "near"):
            assert word in here.text
        rows = here.rows
        assert next(n for n, row in enumerate(rows) if "N▲" in row or "N►" in row) < next(
            n for n, row in enumerate(rows) if " H " in row and "now" not in row
        )

    run_app(size, act)


def test_a_late_viewer_sees_the_way_from_its_start() -> None:
    """On connecting, the feed sends the line and only the newest snapshot."""
    sent = from_line(as_line(LINE.rounded()))
    assert isinstance(sent, TripLine)

    async def act(here: SteeredApp) -> None:
        await here.give(Update(RIDING, trip_line=sent))
        await press(here, "enter", KEY)
        content = here.app.screen.query_one(TrackMap).content
        (piece,) = content.pieces
        assert piece.north_m[-1] - piece.north_m[0] == pytest.approx(_MADE[-1], abs=3.0)
        assert content.home == pytest.approx((0.0, 0.0), abs=3.0)
        # and its own snapshots extend it
        further = (_PLACES[-1][0] + 100.0 * METRE_DEG, -30.0)
        later = changed(RIDING, t_s=_T_S[-1] + 50.0, position_deg=further)
        here.clock.now_s += 1.0
        await here.give(Update(later))
        (piece,) = here.app.screen.query_one(TrackMap).content.pieces[:1]
        assert here.app.screen.query_one(TrackMap).content.craft.place[1] == pytest.approx(
            _MADE[-1] + 100.0, abs=3.0
        )

    run_app((40, 22), act)


def test_near_and_all() -> None:
    async def act(here: SteeredApp) -> None:
        await here.give(Update(RIDING, trip_line=LINE))
        await press(here, "enter", KEY)
        whole = map_frame(here.app.screen.query_one(TrackMap).content, 40, 12).dot_m
        await here.tap("#actions", "near")
        near = map_frame(here.app.screen.query_one(TrackMap).content, 40, 12).dot_m
        assert near < whole / 2
        await press(here, "z")
        assert map_frame(here.app.screen.query_one(TrackMap).content, 40, 12).dot_m == whole

    run_app((40, 22), act)


def test_without_a_position_it_says_why() -> None:
    async def act(here: SteeredApp) -> None:
        bare = replace(LINE, position_deg=())
        await here.give(Update(snapshot(position_deg=Unknown(Reason.NO_FIX)), trip_line=bare))
        await press(here, "enter", KEY)
        assert "no track yet: no GPS fix" in together(here)

    run_app((40, 22), act)


@pytest.mark.parametrize("size", [(40, 22), (80, 24)])
def test_a_tap_on_the_way_of_a_saved_ride_goes_there(size: tuple[int, int]) -> None:
    places = SteeredSeekControls()

    async def act(here: SteeredApp) -> None:
        replay = replayed(_T_S[-1] - 10.0, duration_s=598.0)
        await here.give(Update(RIDING, trip_line=LINE, replay=replay))
        await press(here, "enter", KEY)
        way = here.app.screen.query_one(TrackMap)
        frame = map_frame(way.content, way.size.width, way.size.height)
        x, y = frame.dot((0.0, _MADE[-1] / 2))
        offset = (int(x) // 2, map_top(way.content, way.size.height) + int(y) // 4)
        await here.pilot.click(TrackMap, offset=offset)
        await here.show()
        (asked,) = places.asked
        # a cell is four dots high, at least twice the distance between two points
        within = 2.0 * 4.0 * frame.dot_m / _MADE[-1]
        assert asked == ("go_to", pytest.approx(0.5, abs=within))
        # a tap far from the way does nothing
        await here.pilot.click(TrackMap, offset=(1, offset[1]))
        await here.show()
        assert len(places.asked) == 1

    run_app(size, act, places=places)


def test_a_tap_on_a_live_ride_does_nothing() -> None:
    async def act(here: SteeredApp) -> None:
        await here.give(Update(RIDING, trip_line=LINE))
        await press(here, "enter", KEY)
        before = here.text
        await here.pilot.click(TrackMap, offset=(20, 6))
        await here.show()
        assert here.text == before

    run_app((40, 22), act)


def test_it_is_drawn_once_a_second_at_most() -> None:
    async def act(here: SteeredApp) -> None:
        await here.give(Update(RIDING, trip_line=LINE))
        await press(here, "enter", KEY)
        way = here.app.screen.query_one(TrackMap)
        before = way.content
        turned = changed(RIDING, heading_deg=270.0)
        here.clock.now_s += 0.4
        await here.give(Update(turned))
        assert way.content is before
        here.clock.now_s += 0.7
        await here.give(Update(turned))
        assert way.content.craft.ahead_deg == 270.0

    run_app((40, 22), act)
