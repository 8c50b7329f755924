"""The glance: consumption and range in big type, the cue, small figures."""

from textual import events
from textual.containers import Container
from textual.widgets import Static

from groundside.dashboard.content.ride import RideContent
from groundside.dashboard.drawing.kept import Kept
from groundside.dashboard.layout.ride_rows import RideRows, ride_rows
from groundside.dashboard.views.base import set_heights
from groundside.dashboard.widgets.big_figure import BigFigure, BigFigures
from groundside.dashboard.widgets.cue_bar import CueBar
from groundside.dashboard.widgets.figure_table import FigureTable


class Glance(Kept, Container):
    """Fills the room it is given, and never scrolls."""

    def __init__(self) -> None:
        # Stored, not queried: a tick may come before they are mounted or after they are removed.
        self._consumption = BigFigure(id="consumption")
        self._range = BigFigure(id="range")
        self._big_figures = BigFigures(self._consumption, self._range, id="big-figures")
        self._cue = CueBar(id="cue")
        self._figures = FigureTable(id="figures")
        self._spaces = above_cue, above_table, below = [Static(id=f"space{n}") for n in (1, 2, 3)]
        parts = (self._big_figures, above_cue, self._cue, above_table, self._figures, below)
        super().__init__(*parts, id="glance")
        self._has_cue = False
        self._text_rows = 0
        self._shared: RideRows | None = None

    def on_resize(self, _event: events.Resize) -> None:
        """Allot the rows again."""
        self._share()

    def show(self, content: RideContent) -> None:
        """Pass each part its content; unchanged content is not repainted."""
        has_cue, rows = bool(content.cue.word), CueBar.text_rows(content.cue, self.size.width)
        if (has_cue, rows) != (self._has_cue, self._text_rows):
            self._has_cue, self._text_rows = has_cue, rows
            self._share()
        self._consumption.content = content.consumption
        self._range.content = content.range
        self._cue.content = content.cue
        self._figures.content = (content.figures, content.stale)

    def _share(self) -> None:
        """Set the heights, if they changed."""
        width, height = self.size.width, self.size.height
        if not width or not height:
            return
        shared = ride_rows(width, height, cue=self._has_cue, text_rows=self._text_rows)
        if shared == self._shared:
            return
        self._shared = shared
        # the spare rows go above the cue, above the small figures and below them
        above_cue = shared.spare // 3 if shared.cue else 0
        above_table = (shared.spare - above_cue) // 2
        set_heights(
            (self._spaces[0], above_cue),
            (self._spaces[1], above_table),
            (self._spaces[2], shared.spare - above_cue - above_table),
            (self._big_figures, shared.figure * (1 if shared.side_by_side else 2)),
            (self._cue, shared.cue),
            (self._figures, shared.table),
        )
        self._big_figures.set_rows(
            shared.figure, side_by_side=shared.side_by_side, label_above=shared.label_above
        )
        self._figures.set_columns(shared.table_columns)
