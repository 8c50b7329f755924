"""A container that keeps its blank lines.

Whenever a widget changes, the toolkit asks every widget on the screen for its lines, those behind
it included, and works out styles and backgrounds anew for each.
"""

from typing import Self

from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget


class Kept(Widget):
    """Mix-in after a container of the toolkit: keeps its lines until it is refreshed.

    Every change of a style, its own or that of an ancestor, ends in `refresh`; a changed size asks
    for another region.
    """

    _kept_for: Region | None = None
    _kept: list[Strip]

    def refresh(
        self,
        *regions: Region,
        repaint: bool = True,
        layout: bool = False,
        recompose: bool = False,
    ) -> Self:
        """Have the toolkit repaint the container, with new lines.

        Parameters
        ----------
        regions
            What to repaint; all of it if there is none.
        repaint, layout, recompose
            As in the toolkit.
        """
        if repaint:
            self._kept_for = None
        return super().refresh(*regions, repaint=repaint, layout=layout, recompose=recompose)

    def render_lines(self, crop: Region) -> list[Strip]:
        """Return the lines of a region, as the toolkit asks for them."""
        if self._kept_for != crop:
            self._kept, self._kept_for = super().render_lines(crop), crop
        return self._kept
