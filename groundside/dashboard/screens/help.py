"""The help view: every key and sign on one page. The notices stay on top of it."""

from textual.app import ComposeResult
from textual.screen import Screen

from groundside.dashboard.face import RideFace
from groundside.dashboard.widgets.help_text import HelpText
from groundside.dashboard.widgets.key_bar import KeyBar, KeyHint
from groundside.dashboard.widgets.notice_bar import NoticeBar


class HelpScreen(Screen[None]):
    """Lists the keys; the help key leads back.

    Parameters
    ----------
    keys
        Each key with what it does.
    hints
        Key hints for the bottom of the view.
    """

    def __init__(self, keys: tuple[tuple[str, str], ...], hints: tuple[KeyHint, ...]) -> None:
        super().__init__()
        self._keys = keys
        self._hints = hints
        self._notices = NoticeBar(id="notices")

    def compose(self) -> ComposeResult:
        """Make the parts from top to bottom."""
        yield self._notices
        yield HelpText(id="help")
        yield KeyBar(id="keys")

    def on_mount(self) -> None:
        """Give the parts what does not change."""
        self.query_one(HelpText).shown = self._keys
        self.query_one(KeyBar).shown = self._hints

    def show(self, face: RideFace) -> None:
        """Keep the notices in sight."""
        bar = self._notices
        bar.styles.height = NoticeBar.rows_needed(face.notices, self.size.width)
        bar.shown = face.notices
