"""The way home as a panel: an arrow, and what matters most in words."""

from textual.geometry import Size

from groundside.dashboard.content.home import CAUTIONS, HomeContent
from groundside.dashboard.drawing.home_arrow import home_arrow
from groundside.dashboard.drawing.painted import Line, Piece, joined, shortened
from groundside.dashboard.widgets.way_page import WayPage, beside_arrow

ARROW_ROWS_MOST = 7
LOW_STEP_DEG = 45
"""Step of a lower arrow's angle [deg]: between these it is a blot. The words are more exact."""


class HomePanel(WayPage):
    """Shows a `HomeContent` in a few rows."""

    def paint(self, size: Size) -> list[Line]:
        """Draw the arrow on the left, and one sentence for each row."""
        width, height = size.width, size.height
        content: HomeContent = self.content
        rows = min(ARROW_ROWS_MOST, height)
        start = 2 * rows + 3
        arrow: tuple[str, ...] = ()
        if content.arrow_deg is not None:
            step = 1 if rows == ARROW_ROWS_MOST else LOW_STEP_DEG
            angle_deg = step * round(content.arrow_deg / step) % 360
            arrow = home_arrow(angle_deg, 2 * rows, rows)
        return beside_arrow(arrow, start, panel_words(content, width - start - 1), height)


def panel_words(content: HomeContent, width: int) -> list[Piece]:
    """Return the sentences, most important first, each on a line of its own."""
    there = content.distance
    away = "" if there.digits is None else f"home {there.digits} {there.unit}"
    margin = content.margin
    spare = "" if margin.digits is None else f"{margin.digits} {margin.unit} to spare"
    if spare and margin.interval:
        spare += f" ({margin.interval})"
    sentences = [
        (joined(tuple(filter(None, (content.verdict.upper(), spare))), width), "way--verdict"),
        (joined(tuple(filter(None, (away, content.turn[0]))), width), "way--strong"),
        *((text, "way--strong") for text in (content.why, *content.do)),
        (", ".join(filter(None, content.cost)), "way--text"),
        (CAUTIONS[0], "way--quiet"),
        (content.water if len(content.water) <= width else "", "way--quiet"),
    ]
    return [(shortened(text, width), style) for text, style in sentences if text]
