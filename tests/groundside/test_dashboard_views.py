"""The views beside the ride view: what they say, and what their buttons do."""

from typing import Any

import pytest

from groundside.dashboard.keys import VIEWS
from groundside.dashboard.widgets.painted import Painted
from groundside.source import Update
from onboard.efficiency.trip_line import TripLine
from tests.groundside.dashboard_help import (
    SCREENS,
    TARGET,
    Ride,
    SteeredPlaces,
    figure,
    holds_drawn,
    ride,
    snapshot,
)

CURVE = {
    "speed_mps": [1.0, 1.5, 2.0, 2.5, 3.0],
    "power_w": [80.0, 170.0, 320.0, 560.0, 900.0],
    "low_w": [70.0, 160.0, 305.0, 530.0, 840.0],
    "high_w": [90.0, 180.0, 335.0, 590.0, 960.0],
    "speed_kind": "over_ground",
}
HOME = {
    "distance_m": 760.0,
    "bearing_deg": 123.0,
    "energy_wh": figure(31.0),
    "margin_wh": figure(540.0),
    "speed_mps": 2.0,
    "turn_back": False,
}
RUN = {
    "number": 1,
    "setup": "A",
    "open": False,
    "start_s": 100.0,
    "seconds_s": 64.0,
    "steady_s": 41.0,
    "power_w": 402.0,
    "speed_mps": 2.2,
    "course_deg": 83.0,
    "wh_per_km": figure(51.0),
    "long_enough": True,
}


async def press(here: Ride, *keys: str) -> None:
    for key in keys:
        await here.pilot.press(key)
        await here.show()


def together(here: Ride) -> str:
    return " ".join(here.text.split())


@pytest.mark.parametrize("size", SCREENS)
def test_the_curve_tells_where_the_rider_is(size: tuple[int, int]) -> None:
    async def act(here: Ride) -> None:
        best = figure(1.5)
        target = {**TARGET, "speed_mps": 2.0}
        await here.give(Update(snapshot(curve=CURVE, best_speed_mps=best, target=target)))
        await press(here, "enter", "2")
        # At 2.21 m/s the line between 320 W at 2.0 and 560 W at 2.5 has 420.8 W, 52.9 Wh/km; at
        # the best 1.5 m/s 170 W are 31.5 Wh/km.
        assert "8.0 km/h, 412 W: 68 % over the cheapest" in together(here)
        assert "5.4 km/h (5.1 to 5.7), 31 Wh/km" in together(here)
        for letter in " N ", "B", "T":
            assert letter in here.text
        assert "battery power" in here.text
        assert "over ground" in here.text
        await press(here, "c")
        assert "consumption" in here.text
        here.clock.now_s += 30.0
        await here.show()
        assert "▒N▒" in here.text
        assert "412 W STALE" in together(here)

    ride(size, act)


def test_a_curve_through_water_is_looked_at_through_the_water() -> None:
    curve = {**CURVE, "speed_kind": "through_water"}

    async def act(here: Ride) -> None:
        best = figure(1.5)
        await here.give(Update(snapshot(curve=curve, best_speed_mps=best)))
        await press(here, "enter", "2")
        assert "the water on this course is not known" in together(here)
        assert "over the cheapest" not in here.text
        # Course 90, water of 0.29 m/s from ahead: 2.21 m/s over ground are 2.5 through the water,
        # 560 W by the curve, 70.39 Wh/km over ground; 1.5 are 1.79, 257 W, 47.59: 48 % more.
        water = {"east_mps": figure(-0.29), "north_mps": figure(0.0)}
        shown = snapshot(curve=curve, best_speed_mps=best, set_and_drift=water, course_deg=90.0)
        here.clock.now_s += 1.0
        await here.give(Update(shown))
        assert "48 % over the cheapest" in together(here)

    ride((80, 24), act)


def test_without_a_curve_the_rider_is_told_what_to_do() -> None:
    async def act(here: Ride) -> None:
        why = {"curve": "too few steady stretches yet"}
        await here.give(Update(snapshot(why=why)))
        await press(here, "2")
        assert "too few steady stretches yet. Ride half a minute steadily" in together(here)
        one = {**CURVE, **{key: CURVE[key][:1] for key in CURVE if key != "speed_kind"}}
        here.clock.now_s += 1.0
        await here.give(Update(snapshot(curve=one)))
        assert "one speed alone is known" in together(here)

    ride((40, 22), act)


def trip_line() -> dict[str, Any]:
    line = TripLine()
    for second in range(600):
        line.add(10.0 + second, 2.0 * second, 0.1 * second)
    return line.as_dict()


@pytest.mark.parametrize("size", SCREENS)
def test_the_trip_over_time_and_over_distance(size: tuple[int, int]) -> None:
    async def act(here: Ride) -> None:
        await here.give(Update(snapshot(t_s=609.0), trip_line=trip_line()))
        await press(here, "enter", "3")
        assert "1.93 km in 00:07:11, 93 Wh (88 to 98), 48 Wh/km (46 to 51)" in together(here)
        assert "battery power" in here.text
        assert "min" in here.text
        assert any(line in here.text for line in ("⠶⠶⠶⠶", "⣀⣀⣀⣀", "⣤⣤⣤⣤"))  # an even 360 W
        await press(here, "x")
        assert "by time" in here.text
        if size[0] == 40:
            for key, title in (("s", "speed"), ("c", "consumption"), ("l", "energy left, by what")):
                await press(here, key)
                assert title in here.text
        if size[0] == 120:
            for title in ("battery power", "speed", "consumption", "energy left, by what"):
                assert title in here.text

    ride(size, act)


def test_a_tap_on_the_trip_goes_to_that_place() -> None:
    places = SteeredPlaces()

    async def act(here: Ride) -> None:
        shown = snapshot(replay={"speed": 1.0, "paused": True, "t_s": 421.2, "duration_s": 600.0})
        await here.give(Update(shown, trip_line=trip_line()))
        await press(here, "3", "x")
        plot = here.app.screen.query_one("#trip-plot0")
        await here.pilot.click("#trip-plot0", offset=(plot.size.width - 2, 3))
        await here.show()
        (name, distance_m) = places.asked[-1]
        assert name == "go_to_distance"
        assert distance_m == pytest.approx(1200.0, abs=25.0)  # the axis ends at 1.2 km
        await press(here, "x")
        plot_middle = 6 + (plot.size.width - 7) // 2
        await here.pilot.click("#trip-plot0", offset=(plot_middle, 3))
        await here.show()
        # The line begins at 10 s of stream time, which is place 0, and the axis ends at 10 min.
        assert places.asked[-1] == ("go_to", pytest.approx(0.5, abs=0.03))

    ride((80, 24), act, places=places)


@pytest.mark.parametrize("size", SCREENS)
def test_the_way_home(size: tuple[int, int]) -> None:
    async def act(here: Ride) -> None:
        await here.give(Update(snapshot(home=HOME)))
        await press(here, "enter", "4")
        assert holds_drawn(here.rows, "0.76")
        assert holds_drawn(here.rows, "540")
        # The course made good is 83 deg, home bears 123.
        assert "40 deg to the right" in together(here)
        assert "ENOUGH" in here.text
        assert "stimate" in here.text
        await here.give(Update(snapshot(home={**HOME, "turn_back": True})))
        assert holds_drawn(here.rows, "TURN")
        assert "Turn right now, go home at 7.2 km/h." in together(here)
        assert "ENOUGH" not in here.text

    ride(size, act)


@pytest.mark.parametrize("name", [name for name, _ in VIEWS])
def test_what_changed_out_of_sight_is_shown_on_coming_back(name: str) -> None:
    key = str([one for one, _ in VIEWS].index(name) + 1)

    async def act(here: Ride) -> None:
        await here.pilot.press("enter")
        await here.give(Update(snapshot(), trip_line=trip_line()))
        await press(here, key, "8" if name != "more" else "1")
        home = {**HOME, "distance_m": 990.0}
        changed = snapshot(curve=CURVE, home=home, setup="Z", volts_v=44.4)
        changed["wh_per_km"]["last_20_s"] = figure(77.0)
        here.source.put(Update(changed, trip_line=trip_line()))
        await here.source.all_taken()
        here.clock.now_s += 0.4
        await here.pilot.press(key)  # told at once, before the toolkit has laid the view out
        await here.show()
        shown = here.rows
        for widget in here.app.screen.query(Painted):
            widget.lay_out()
        await here.show()
        assert shown == here.rows
        if name == "ride":
            assert holds_drawn(shown, "77")

    ride((40, 22), act)


def test_unknown_says_what_to_do() -> None:
    async def act(here: Ride) -> None:
        why = {"home": "no steady stretch yet"}
        await here.give(Update(snapshot(why=why)))
        await press(here, "enter", "4")
        assert "Ride straight for half a minute" in together(here)
        assert "NOT KNOWN" in here.text

    ride((80, 24), act)


@pytest.mark.parametrize("size", SCREENS)
def test_instruments_stand_the_worst_first(size: tuple[int, int]) -> None:
    async def act(here: Ride) -> None:
        alert = {"code": "x", "level": "warning", "text": "The pack is hot.", "since_s": 75.0}
        trip = {**snapshot()["trip"], "bridged_energy_fraction": 0.2}
        await here.give(Update(snapshot(alerts=[alert], trip=trip)))
        await press(here, "enter", "5")
        pages = [here.text]
        while "next page" in here.text and len(pages) < 4:
            await press(here, "n")
            pages.append(here.text)
        said = " ".join(" ".join(pages).split())
        assert "The pack is hot. (for 1 min 15 s)" in said
        assert "LOOK gaps: bridged over: energy 20 %, distance 1 %" in said
        assert "-- resistance: too steady to tell" in said
        assert "ok battery: 51.2 V, 8.1 A, 412 W" in said or "51.2 V, 8.0 A, 412 W" in said
        assert "position: 45.01000 N, 30.02000 W" in said
        if size[0] == 40:
            order = [said.index(word) for word in ("LOOK gaps", "-- resistance", "ok data")]
            assert order == sorted(order)

    ride(size, act)
