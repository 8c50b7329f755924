"""Widgets that keep what they rendered, among them containers that keep their blank lines.

Whenever a widget changes, the toolkit asks every widget on the screen for its lines, those behind
it included, and works out the styles and background of each again.
"""

from typing import Self

from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget


class Forgetful(Widget):
    """Mix-in for a widget of the toolkit: forgets what it keeps when it is refreshed.

    Every change of style, its own or an ancestor's, ends in `refresh`.
    """

    def forget(self, everything: bool, /) -> None:
        """Drop what is kept, before a repaint of some regions or of everything."""
        raise NotImplementedError

    def refresh(
        self,
        *regions: Region,
        repaint: bool = True,
        layout: bool = False,
        recompose: bool = False,
    ) -> Self:
        """Have the toolkit repaint the widget, after forgetting what it kept.

        Parameters
        ----------
        regions
            What to repaint; everything if none is given.
        repaint, layout, recompose
            As in the toolkit.
        """
        if repaint:
            self.forget(not regions)
        return super().refresh(*regions, repaint=repaint, layout=layout, recompose=recompose)


class Kept(Forgetful):
    """Mix-in for a container of the toolkit: keeps its lines until it is refreshed.

    A changed size asks for another region.
    """

    _kept_for: Region | None = None
    _kept: list[Strip]

    def forget(self, _everything: bool, /) -> None:
        """Drop the lines."""
        self._kept_for = None

    def render_lines(self, crop: Region) -> list[Strip]:
        """Return the lines of a region; called by the toolkit."""
        if self._kept_for != crop:
            self._kept, self._kept_for = super().render_lines(crop), crop
        return self._kept
