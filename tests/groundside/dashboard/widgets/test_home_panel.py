"""The way home as a panel: an arrow that can be told, the words that matter most."""

import pytest
from textual.geometry import Size

from groundside.dashboard.content.home import CAUTIONS, HomeContent, home_content
from groundside.dashboard.drawing.home_arrow import home_arrow
from groundside.dashboard.widgets.home_panel import HomePanel
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from tests.groundside.dashboard.steered_app import snapshot, state
from tests.made_snapshot import HOME, changed


def painted(content: HomeContent, size: tuple[int, int]) -> list[str]:
    panel = HomePanel()
    panel.set_reactive(HomePanel.content, content)
    lines = panel.paint(Size(*size))
    assert len(lines) == size[1]
    assert all(sum(len(text) for text, _ in line) <= size[0] for line in lines)
    return ["".join(text for text, _ in line).rstrip() for line in lines]


@pytest.mark.parametrize(("angle_deg", "rows", "drawn_deg"), [(165, 5, 180), (165, 7, 165)])
def test_a_low_arrow_points_in_steps_that_can_be_told(
    angle_deg: int, rows: int, drawn_deg: int
) -> None:
    # At 165 degrees an arrow of four rows was a blot.
    content = changed(home_content(state(snapshot(home=HOME))), arrow_deg=angle_deg)
    arrow = home_arrow(drawn_deg, 2 * rows, rows)
    for row, line in zip(painted(content, (76, rows)), arrow, strict=True):
        assert row[1 : 1 + 2 * rows].ljust(2 * rows) == line


def test_the_words_that_matter_most_come_first() -> None:
    rows = painted(home_content(state(snapshot(home=HOME))), (76, 4))
    assert "ENOUGH  540 Wh to spare (513 to 567)" in rows[0]
    assert "home 0.76 km  40 deg to the right, bearing 123" in rows[1]
    assert "takes 31 Wh (29 to 33), 6 min at 7.2 km/h" in rows[2]
    assert CAUTIONS[0] in rows[3]


def test_turning_back_is_said_with_what_to_do() -> None:
    home = changed(HOME, turn_back=True)
    rows = painted(home_content(state(snapshot(home=home))), (76, 5))
    assert "TURN BACK" in rows[0]
    assert "Turn right now, go home at 7.2 km/h." in rows[2]


def test_an_unknown_way_has_its_reason() -> None:
    shown = home_content(state(snapshot(home=Unknown(Reason.NO_CURVE))))
    rows = painted(shown, (60, 5))
    assert "NOT KNOWN" in rows[0]
    assert "no curve yet" in rows[1]
