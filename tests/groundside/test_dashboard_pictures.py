"""What every view looks like at every size, held against pictures in text; and in every theme.

After a change that is meant, `WATTWAKE_NEW_PICTURES=1 python -m pytest` on this file draws them
anew; then read the difference.
"""

import os
from pathlib import Path
from typing import Any

import pytest

from groundside.dashboard.keys import VIEWS
from groundside.dashboard.themes import MONO, THEMES
from groundside.source import Update
from onboard.efficiency.trip_line import TripLine
from tests.groundside.dashboard_help import SCREENS, TARGET, Ride, SteeredTalk, ride, snapshot
from tests.groundside.test_dashboard_views import CURVE, HOME, RUN

PICTURES = Path(__file__).parent / "pictures"
NAMES = [name for name, _ in VIEWS]
LEAST_CONTRAST = 4.5
"""WCAG 2.1, success criterion 1.4.3, for text."""
QUIET_LINES = "│└─┴┤░▒—"
"""Drawn in the colour of rules, and hatched old figures: neither is text."""


def scene() -> Update:
    """Give a ride with all that a view can show."""
    line = TripLine()
    for second in range(432):
        stop = 200 <= second < 230
        made = second if second < 200 else max(200, second - 30)
        line.add(float(second), 4.9 * made, 0.23 * made if not stop else 46.0)
    battery = {
        **snapshot()["battery"],
        "resistance_ohm": {"value": 0.05, "low": 0.04, "high": 0.06},
    }
    shown = snapshot(
        setup="A",
        setups=["A", "B"],
        curve=CURVE,
        best_speed_mps={"value": 1.5, "low": 1.4, "high": 1.6},
        home=HOME,
        runs=[RUN, {**RUN, "number": 2, "course_deg": 262.0, "long_enough": False}],
        target={**TARGET, "speed_mps": 2.0, "confidence_fraction": 0.87},
        battery=battery,
        utc="2025-06-14T09:37:11.2Z",
    )
    return Update(shown, trip_line=line.as_dict())


async def show(here: Ride, name: str) -> None:
    await here.pilot.press("enter")
    await here.give(scene())
    here.app.action_view(name)
    for _ in range(2):
        await here.show()


@pytest.mark.slow
@pytest.mark.parametrize("size", SCREENS)
@pytest.mark.parametrize("name", NAMES)
def test_a_view_looks_as_it_is_meant_to(size: tuple[int, int], name: str) -> None:
    path = PICTURES / f"{name}_{size[0]}x{size[1]}.txt"

    async def act(here: Ride) -> None:
        await show(here, name)
        picture = "".join(f"{row.rstrip()}\n" for row in here.rows)
        if os.environ.get("WATTWAKE_NEW_PICTURES"):
            PICTURES.mkdir(exist_ok=True)
            path.write_text(picture, encoding="utf-8")
        assert picture == path.read_text(encoding="utf-8")

    ride(size, act, talk=SteeredTalk())


def luminance(colour: Any) -> float:
    """Give the relative luminance (WCAG 2.1)."""
    parts = [value / 255.0 for value in colour.get_truecolor()]
    red, green, blue = (v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@pytest.mark.slow
@pytest.mark.parametrize("theme", [theme.name for theme in THEMES])
@pytest.mark.parametrize("name", NAMES)
def test_every_text_can_be_read_in_every_theme(name: str, theme: str) -> None:
    async def act(here: Ride) -> None:
        here.app.theme = theme
        await show(here, name)
        seen = 0
        for strip in here.app.screen._compositor.render_strips():
            for segment in strip:
                text = segment.text.strip().strip(QUIET_LINES)
                if not text or segment.style is None or segment.style.color is None:
                    continue
                ends = sorted(map(luminance, (segment.style.color, segment.style.bgcolor)))
                assert (ends[1] + 0.05) / (ends[0] + 0.05) >= LEAST_CONTRAST, segment
                seen += 1
        assert seen > 10

    ride((80, 24), act, talk=SteeredTalk())


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_no_meaning_is_lost_without_colour(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    rows: list[list[str]] = []

    async def act(here: Ride) -> None:
        await show(here, name)
        rows.append(here.rows)
        rows.append([here.app.theme])

    ride((40, 22), act, talk=SteeredTalk())
    monkeypatch.setenv("NO_COLOR", "1")
    ride((40, 22), act, talk=SteeredTalk())
    assert rows[0] == rows[2]
    assert rows[3] == [MONO.name]
