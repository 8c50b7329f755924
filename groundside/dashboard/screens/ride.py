"""The ride view: what a rider reads at a glance. It shares out the rows and never scrolls."""

from textual import events
from textual.app import ComposeResult
from textual.containers import Container
from textual.screen import Screen
from textual.widgets import Static

from groundside.dashboard.face import RideFace
from groundside.dashboard.rows import Rows, share_rows
from groundside.dashboard.widgets.age_line import AgeLine
from groundside.dashboard.widgets.caution_bar import CautionBar
from groundside.dashboard.widgets.cue import Cue
from groundside.dashboard.widgets.figure_table import FigureTable
from groundside.dashboard.widgets.hero import Hero
from groundside.dashboard.widgets.key_bar import KeyBar, KeyHint, in_rows
from groundside.dashboard.widgets.notice_bar import NoticeBar
from groundside.dashboard.widgets.replay_bar import ReplayBar


class RideScreen(Screen[None]):
    """Consumption and range in big type, the cue, and all else quiet.

    Parameters
    ----------
    hints
        Key hints for the bottom of the view.
    replay
        Whether the source is a replay that can be steered.
    """

    def __init__(self, hints: tuple[KeyHint, ...], *, replay: bool) -> None:
        super().__init__()
        self._hints = hints
        self._replay = replay
        self._has_target = False
        self._notice_rows = 1
        self._caution_read = False
        self._shared: Rows | None = None

    def compose(self) -> ComposeResult:
        """Make the parts from top to bottom."""
        yield NoticeBar(id="notices")
        yield CautionBar(id="caution")
        with Container(id="heroes"):
            yield Hero(id="consumption")
            yield Hero(id="range")
        yield Static(id="space1")
        yield Cue(id="cue")
        yield Static(id="space2")
        yield FigureTable(id="figures")
        yield Static(id="space3")
        yield AgeLine(id="age")
        yield ReplayBar(id="replay")
        yield KeyBar(id="keys")

    def on_mount(self) -> None:
        """Give the parts what does not change."""
        self.query_one(KeyBar).shown = self._hints
        self.query_one(CautionBar).shown = True
        self._share()

    def on_resize(self, _event: events.Resize) -> None:
        """Share the rows out anew."""
        self._share()

    def caution_was_read(self) -> None:
        """Take the caution away and give its rows to the figures."""
        self._caution_read = True
        self._share()

    def show(self, face: RideFace) -> None:
        """Hand each part what it says now; a part that says the same is not painted."""
        needed = NoticeBar.rows_needed(face.notices, self.size.width)
        if (face.has_target, needed) != (self._has_target, self._notice_rows):
            self._has_target = face.has_target
            self._notice_rows = needed
            self._share()
        self.query_one("#notices", NoticeBar).shown = face.notices
        self.query_one("#consumption", Hero).shown = face.consumption
        self.query_one("#range", Hero).shown = face.range
        self.query_one("#cue", Cue).shown = face.cue
        self.query_one("#figures", FigureTable).shown = (face.cells, face.stale)
        self.query_one("#age", AgeLine).shown = face.age
        self.query_one("#replay", ReplayBar).shown = face.replay

    def _share(self) -> None:
        """Set the heights, where they differ from those that are set."""
        width, height = self.size.width, self.size.height
        if not width or not height:
            return
        shared = share_rows(
            width,
            height,
            notices=self._notice_rows,
            caution=0 if self._caution_read else CautionBar.rows_needed(width),
            cue=self._has_target,
            replay=self._replay,
            keys=len(in_rows(self._hints, width)),
        )
        if shared == self._shared:
            return
        self._shared = shared
        # above the cue, above the small figures, and what is left beneath them
        above_cue = shared.spare // 3 if shared.cue else 0
        above_table = (shared.spare - above_cue) // 2
        heights = {
            "space1": above_cue,
            "space2": above_table,
            "space3": shared.spare - above_cue - above_table,
            "notices": shared.notices,
            "caution": shared.caution,
            "heroes": shared.hero * (1 if shared.side_by_side else 2),
            "cue": shared.cue,
            "figures": shared.table,
            "age": shared.age,
            "replay": shared.replay,
            "keys": shared.keys,
        }
        for name, rows in heights.items():
            part = self.query_one(f"#{name}")
            part.display = rows > 0
            part.styles.height = rows
        self.query_one("#heroes").styles.layout = (
            "horizontal" if shared.side_by_side else "vertical"
        )
        for hero in self.query(Hero):
            hero.styles.height = shared.hero
            hero.set_label_above(shared.side_by_side)
        self.query_one(FigureTable).set_columns(shared.table_columns)
