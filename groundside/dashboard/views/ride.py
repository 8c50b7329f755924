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
        # Held by hand: a tick may come before the parts are mounted or after they are gone.
        self._notices = NoticeBar(id="notices")
        self._caution = CautionBar(id="caution")
        self._consumption = Hero(id="consumption")
        self._range = Hero(id="range")
        self._heroes = Container(self._consumption, self._range, id="heroes")
        self._cue = Cue(id="cue")
        self._figures = FigureTable(id="figures")
        self._age = AgeLine(id="age")
        self._replay_bar = ReplayBar(id="replay")
        self._keys = KeyBar(id="keys")
        self._spaces = [Static(id=f"space{n}") for n in (1, 2, 3)]

    def compose(self) -> ComposeResult:
        """Make the parts from top to bottom."""
        yield self._notices
        yield self._caution
        yield self._heroes
        yield self._spaces[0]
        yield self._cue
        yield self._spaces[1]
        yield self._figures
        yield self._spaces[2]
        yield self._age
        yield self._replay_bar
        yield self._keys

    def on_mount(self) -> None:
        """Give the parts what does not change."""
        self._keys.shown = self._hints
        self._caution.shown = True
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
        self._notices.shown = face.notices
        self._consumption.shown = face.consumption
        self._range.shown = face.range
        self._cue.shown = face.cue
        self._figures.shown = (face.cells, face.stale)
        self._age.shown = face.age
        self._replay_bar.shown = face.replay

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
        for part, rows in (
            (self._spaces[0], above_cue),
            (self._spaces[1], above_table),
            (self._spaces[2], shared.spare - above_cue - above_table),
            (self._notices, shared.notices),
            (self._caution, shared.caution),
            (self._heroes, shared.hero * (1 if shared.side_by_side else 2)),
            (self._cue, shared.cue),
            (self._figures, shared.table),
            (self._age, shared.age),
            (self._replay_bar, shared.replay),
            (self._keys, shared.keys),
        ):
            part.display = rows > 0
            part.styles.height = rows
        self._heroes.styles.layout = "horizontal" if shared.side_by_side else "vertical"
        for hero in (self._consumption, self._range):
            hero.styles.height = shared.hero
            hero.set_label_above(shared.side_by_side)
        self._figures.set_columns(shared.table_columns)
