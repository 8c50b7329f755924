"""Keys, clicks, themes and the help view of the dashboard."""

import pytest

from groundside.dashboard.widgets.key_bar import KeyBar
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


def test_the_units_key_goes_round() -> None:
    async def act(here: Ride) -> None:
        await here.pilot.press("enter")
        await here.give(Update(snapshot()))
        seen = []
        for _ in range(5):
            seen.append(next(u for u in ("km/h", "m/s", "kn", "mph") if f" {u} " in here.text))
            await here.pilot.press("u")
            await here.show()
        assert seen == ["km/h", "m/s", "kn", "mph", "km/h"]

    ride((40, 22), act)


def test_nautical_units_reach_the_big_figures() -> None:
    async def act(here: Ride) -> None:
        await here.give(Update(snapshot()))
        await here.pilot.press("u", "u")
        await here.show()
        # by hand: 51 Wh/km * 1.852 = 94.45 Wh/NM; 16.4 km / 1.852 = 8.86 NM
        assert holds_drawn(here.rows, "94")
        assert holds_drawn(here.rows, "8.9")

    ride((80, 24), act)


def test_the_theme_key_goes_round() -> None:
    async def act(here: Ride) -> None:
        seen = []
        for _ in range(4):
            seen.append(here.app.theme)
            await here.pilot.press("t")
        assert seen == ["sun", "night", "mono", "sun"]

    ride((40, 22), act)


def test_no_color_is_respected(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")

    async def act(here: Ride) -> None:
        assert here.app.theme == "mono"

    ride((40, 22), act)


@pytest.mark.parametrize("size", SCREENS)
def test_the_caution_stands_until_it_was_read(size: tuple[int, int]) -> None:
    async def act(here: Ride) -> None:
        await here.give(Update(snapshot(target=TARGET)))
        together = " ".join(here.text.split())
        assert "Range is an estimate. Keep a reserve, wear a life jacket." in together
        assert "h help" in here.rows[-1]
        await here.pilot.click("#caution")
        await here.show()
        assert "life jacket" not in here.text
        assert "h help" in here.rows[-1]

    ride(size, act)


@pytest.mark.parametrize("size", SCREENS)
@pytest.mark.parametrize("replay", [False, True])
def test_help_lists_every_key_on_one_page(size: tuple[int, int], replay: bool) -> None:
    async def act(here: Ride) -> None:
        await here.give(Update(snapshot()))
        await here.pilot.press("h")
        await here.show()
        firsts = [row.split(",")[0].split()[0] for row in here.rows if row.strip()]
        wanted = ["u", "t", "h", "q", "enter", "--", "STALE"]
        if replay:
            wanted += ["space", "-", "+"]
        assert [key for key in wanted if key not in firsts] == []
        assert "life jacket" in here.text
        assert "damaged packs harm" in " ".join(here.text.split())
        assert ".." not in here.text
        bound = {key for binding in here.app._bindings for key in [binding[0]]}
        named = {"question_mark": "?", "minus": "-", "plus": "+", "equals_sign": "="}
        for key in bound:
            assert named.get(key, key.replace("+", " ")) in here.text, key
        await here.pilot.press("h")
        await here.show()
        assert holds_drawn(here.rows, "51")

    ride(size, act, controls=SteeredControls() if replay else None)


def test_keys_and_clicks_steer_a_replay() -> None:
    controls = SteeredControls()

    async def act(here: Ride) -> None:
        await here.pilot.press("space", "plus", "equals_sign", "minus")
        assert controls.asked == ["pause_or_go", "faster", "faster", "slower"]
        bar = here.app.screen.query_one(KeyBar)
        row = here.rows[bar.region.y]
        await here.pilot.click(KeyBar, offset=(row.index("faster") + 1, 0))
        await here.pilot.pause()
        assert controls.asked[-1] == "faster"
        assert len(controls.asked) == 5

    ride((40, 22), act, controls=controls)


def test_a_click_on_a_hint_does_what_its_key_does() -> None:
    async def act(here: Ride) -> None:
        await here.give(Update(snapshot()))
        row = here.rows[-1]
        await here.pilot.click(KeyBar, offset=(row.index("units"), 0))
        await here.show()
        assert here.app.units.speed_name == "m/s"
        await here.pilot.click(KeyBar, offset=(row.index("h help"), 0))
        await here.show()
        assert "95 % interval" in here.text
        await here.pilot.click(KeyBar, offset=(here.rows[-1].index("back"), 0))
        await here.show()
        assert "95 % interval" not in here.text

    ride((80, 24), act)
