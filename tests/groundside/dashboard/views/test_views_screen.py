"""The views other than the ride view on a whole screen: keys, taps, room.

Their content is tested in `tests/groundside/dashboard/content/`.
"""

import pytest

from groundside.connection.source import Update
from groundside.dashboard.drawing.painted import Painted
from groundside.dashboard.drawing.plotting import plot_area
from groundside.dashboard.views.all import VIEWS
from groundside.dashboard.widgets.plot import Plot
from groundside.words.units import CHOICES
from onboard.contract.alerts import Alert, AlertCode
from onboard.contract.trip_line import TripLine
from tests.groundside.dashboard.steered_app import (
    SCREENS,
    SteeredApp,
    SteeredSeekControls,
    holds_drawn,
    replayed,
    run_app,
    snapshot,
)
from tests.made_snapshot import CURVE, HOME, TARGET, around, changed, made_snapshot

UNMADE = {"to_go_m": 18_520.0, "best_m": 3704.0, "best_speed_mps": 2.0}
pytestmark = pytest.mark.slow

_EVEN = [(10.0 + 2.0 * n, 4.0 * n, 0.2 * n) for n in range(300)]
TRIP_LINE = TripLine(*zip(*_EVEN, strict=True), every_s=2.0)
"""Ten minutes at 2 m/s and 360 W from 10 s on."""


async def press(here: SteeredApp, *keys: str) -> None:
    for key in keys:
        await here.pilot.press(key)
        await here.show()


def together(here: SteeredApp) -> str:
    return " ".join(here.text.split())


async def tap_on_tick(here: SteeredApp, number: str) -> float:
    plot = here.app.screen.query_one("#trip-plot0", Plot)
    area = plot_area(plot.content, plot.size.width, plot.size.height)
    assert area is not None
    (column,) = (column for column, text in area.x_labels if text == number)
    await here.pilot.click("#trip-plot0", offset=(area.left + column, 3))
    await here.show()
    return float(number)


@pytest.mark.parametrize("size", SCREENS)
def test_every_view_shows_its_content(size: tuple[int, int]) -> None:
    shown = made_snapshot(alerts=(), t_s=609.0, trip__bridged_energy_fraction=0.2)

    async def act(here: SteeredApp) -> None:
        await here.give(Update(shown, trip_line=TRIP_LINE))
        await press(here, "enter", "2")
        assert "8.0 km/h, 412 W: 68 % over the cheapest" in together(here)
        assert "5.4 km/h (5.0 to 5.8), 31 Wh/km" in together(here)
        for text in (" N ", "B", "T", "battery power", "over ground"):
            assert text in here.text
        await press(here, "c")
        assert "consumption" in here.text

        await press(here, "3")
        assert "1.93 km in 7 min, 93 Wh (88 to 98), 48 Wh/km (46 to 51)" in together(here)
        assert "battery power" in here.text
        assert "min" in here.text
        assert any(line in here.text for line in ("⠶⠶⠶⠶", "⣀⣀⣀⣀", "⣤⣤⣤⣤"))  # an even 360 W
        await press(here, "x")
        assert "by time" in here.text
        panels = (("s", "speed"), ("c", "consumption"), ("l", "usable energy, as known"))
        for key, title in panels:
            if size[0] == 40:
                await press(here, key)
            assert title in here.text or size[0] == 80
        await press(here, "4")
        assert holds_drawn(here.rows, "0.76")
        assert holds_drawn(here.rows, "540")
        assert "40 deg to the right" in together(here)
        assert "ENOUGH" in here.text or holds_drawn(here.rows, "ENOUGH")

        await press(here, "8")
        pages = [here.text]
        while "next page" in here.text and len(pages) < 4:
            await press(here, "n")
            pages.append(here.text)
        text = " ".join(" ".join(pages).split())
        assert "LOOK gaps: bridged over: energy 20 %, distance 1 %" in text
        assert "position: 45.01000 N, 30.02000 W" in text

        here.clock.now_s += 30.0
        await press(here, "2")
        assert "▒N▒" in here.text
        assert "412 W STALE" in together(here)

    run_app(size, act)


def test_it_is_time_to_turn_back() -> None:
    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot(home=changed(HOME, turn_back=True))))
        await press(here, "enter", "4")
        assert holds_drawn(here.rows, "TURN")
        assert "Turn right now, go home at 7.2 km/h." in together(here)
        assert "ENOUGH" not in here.text
        unmade = Alert(AlertCode.CANNOT_BE_MADE, 9.0, **UNMADE)
        await here.give(Update(snapshot(alerts=(unmade,))))
        assert "best is 2.0 NM at 3.9 kn" not in together(here)
        await press(here, "u", "u")  # every sentence follows the units, earlier ones too
        assert "2.0 NM is sure, at 3.9 kn" in together(here)

    run_app((80, 24), act)


@pytest.mark.parametrize("units", ["km/h", "kn"])
def test_a_tap_on_the_trip_goes_to_that_place(units: str) -> None:
    places = SteeredSeekControls()

    async def act(here: SteeredApp) -> None:
        here.app.units = CHOICES[units]
        replay = replayed(421.2, paused=True, duration_s=600.0)
        await here.give(Update(snapshot(), trip_line=TRIP_LINE, replay=replay))
        await press(here, "3", "x")
        tenths = await tap_on_tick(here, "0.6")
        unit_m = CHOICES[units].distance_unit_m
        assert places.asked[-1] == ("go_to_distance", pytest.approx(tenths * unit_m))
        await press(here, "x")
        minutes = await tap_on_tick(here, "6")
        # The line begins at 10 s of stream time, which is place 0, and ends at 10 min.
        assert places.asked[-1] == ("go_to", pytest.approx(minutes / 10.0))

    run_app((80, 24), act, places=places)


def test_changes_while_hidden_are_shown_on_coming_back() -> None:
    async def comes_back(here: SteeredApp, name: str, key: str) -> None:
        await here.give(Update(snapshot(), trip_line=TRIP_LINE))
        here.app.action_view(name)
        await here.show()
        here.app.action_view("more" if name != "more" else "ride")
        await here.show()
        differs = snapshot(
            curve=CURVE,
            home=changed(HOME, distance_m=990.0),
            setup="Z",
            volts_v=44.4,
            target=TARGET,
            wh_per_km__last_20_s=around(77.0),
        )
        here.source.put(Update(differs, trip_line=TRIP_LINE))
        await here.source.all_taken()
        here.clock.now_s += 0.4
        await here.pilot.press(key)  # shown at once, before the toolkit has laid out the view
        await here.show()
        shown = here.rows
        for widget in here.app.screen.query(Painted):
            widget.lay_out()
        await here.show()
        assert shown == here.rows, name
        if name == "ride":
            assert holds_drawn(shown, "77")

    async def act(here: SteeredApp) -> None:
        await here.pilot.press("enter")
        for number, name in enumerate((view.NAME for view in VIEWS), 1):
            await comes_back(here, name, str(number))

    run_app((40, 22), act)
