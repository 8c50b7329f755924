"""Every view at every size, compared with pictures in text; and in every theme.

After an intended change, `WATTWAKE_NEW_PICTURES=1 python -m pytest` on this file redraws them;
then read the difference.
"""

import difflib
import os
from pathlib import Path
from typing import Any

import pytest
from rich.segment import Segment

from groundside.connection.source import Update
from groundside.dashboard.themes import MONO, THEMES
from groundside.dashboard.views.all import VIEWS
from onboard.contract.coach import Step, StepCode
from onboard.contract.figure import Figure
from onboard.efficiency.trip.trip_line import GrowingLine
from tests.groundside.dashboard.steered_app import (
    NOT_STATED,
    SCREENS,
    SteeredApp,
    SteeredSender,
    run_app,
    snapshot,
    strips_of,
)
from tests.made_snapshot import COACH, CURVE, HOME, RIDING, TARGET, changed

PICTURES = Path(__file__).parent / "pictures"
NAMES = [view.NAME for view in VIEWS]
LEAST_CONTRAST = 4.5
"""WCAG 2.1, success criterion 1.4.3, for text."""
QUIET_LINES = "│└─┴┤░▒—"
"""Characters that are not text: rules and hatching."""


def riding() -> Update:
    """Return a ride with everything that a view can show."""
    line = GrowingLine()
    for second in range(432):
        stop = 200 <= second < 230
        made = second if second < 200 else max(200, second - 30)
        line.add(float(second), 4.9 * made, 0.23 * made if not stop else 46.0)
    shown = snapshot(
        setup="A",
        setups=("A", "B"),
        curve=CURVE,
        best_speed_mps=Figure(1.5, 1.4, 1.6),
        home=HOME,
        runs=RIDING.runs,
        target=changed(TARGET, power_w=NOT_STATED),
        battery=RIDING.battery,
        utc=RIDING.utc,
    )
    return Update(shown, trip_line=line.record())


async def begin(here: SteeredApp) -> None:
    await here.pilot.press("enter")
    await here.give(riding())


async def show_view(here: SteeredApp, name: str) -> None:
    here.app.action_view(name)
    for _ in range(2):
        await here.show()


def differences(here: SteeredApp, name: str) -> list[str]:
    """Return the differences of the screen from a picture; redraw that if asked to."""
    path = PICTURES / name
    picture = "".join(f"{row.rstrip()}\n" for row in here.rows)
    if os.environ.get("WATTWAKE_NEW_PICTURES"):
        PICTURES.mkdir(exist_ok=True)
        path.write_text(picture, encoding="utf-8")
    meant = path.read_text(encoding="utf-8")
    return [*difflib.unified_diff(meant.splitlines(), picture.splitlines(), path.name)]


@pytest.mark.slow
@pytest.mark.parametrize("size", SCREENS)
def test_every_view_matches_its_picture(size: tuple[int, int]) -> None:
    differ = []

    async def act(here: SteeredApp) -> None:
        await begin(here)
        for name in NAMES:
            await show_view(here, name)
            differ.extend(differences(here, f"{name}_{size[0]}x{size[1]}.txt"))

    run_app(size, act, sender=SteeredSender())
    assert differ == [], "\n".join(differ)


def luminance(colour: Any) -> float:
    """Return the relative luminance (WCAG 2.1)."""
    parts = [value / 255.0 for value in colour.get_truecolor()]
    red, green, blue = (v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@pytest.mark.slow
def test_every_text_can_be_read_in_every_theme() -> None:
    async def act(here: SteeredApp) -> None:
        await begin(here)
        for theme in THEMES:
            here.app.theme = theme.name
            for name in NAMES:
                await show_view(here, name)
                seen = 0
                for strip in strips_of(here.app):
                    seen += sum(can_be_read(segment) for segment in strip)
                assert seen > 10, name

    run_app((80, 24), act, sender=SteeredSender())


def can_be_read(segment: Segment) -> bool:
    """Check the contrast of a segment; return whether it is text."""
    text = segment.text.strip().strip(QUIET_LINES)
    if not text or segment.style is None or segment.style.color is None:
        return False
    ends = sorted(map(luminance, (segment.style.color, segment.style.bgcolor)))
    assert (ends[1] + 0.05) / (ends[0] + 0.05) >= LEAST_CONTRAST, segment
    return True


@pytest.mark.slow
def test_no_meaning_is_lost_without_colour(monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[tuple[str, dict[str, list[str]]]] = []

    async def act(here: SteeredApp) -> None:
        await begin(here)
        rows = {}
        for name in NAMES:
            await show_view(here, name)
            rows[name] = here.rows
        seen.append((here.app.theme, rows))

    run_app((40, 22), act, sender=SteeredSender())
    monkeypatch.setenv("NO_COLOR", "1")
    run_app((40, 22), act, sender=SteeredSender())
    (coloured, with_colour), (plain, without) = seen
    assert coloured != plain == MONO.name
    assert with_colour == without


@pytest.mark.slow
@pytest.mark.parametrize("size", SCREENS)
def test_the_coach_matches_its_pictures(size: tuple[int, int]) -> None:
    differ = []
    steps = {
        "hold": COACH.step,
        "swap": Step(StepCode.SWAP, setup="slim"),
        "lap": Step(StepCode.LAP, target_w=400.0, left_fraction=0.37),
        "enough": Step(StepCode.ENOUGH, setup="A"),
    }

    async def act(here: SteeredApp) -> None:
        await here.pilot.press("enter", "6")
        for name, step in steps.items():
            target = changed(TARGET, power_w=400.0, difference_fraction=0.03, cue="hold")
            coach = changed(COACH, step=step)
            await here.give(Update(snapshot(setup="A", target=target, coach=coach)))
            differ.extend(differences(here, f"coach_{name}_{size[0]}x{size[1]}.txt"))

    run_app(size, act, sender=SteeredSender())
    assert differ == [], "\n".join(differ)
