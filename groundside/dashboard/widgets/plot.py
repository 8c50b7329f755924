"""A widget with a plot that can be tapped."""

from typing import ClassVar

from textual import events
from textual.geometry import Size
from textual.message import Message

from groundside.dashboard.drawing.painted import Line, Painted
from groundside.dashboard.drawing.plotting import STYLES, plot_area, plot_lines
from onboard.dataclass import dataclass


class Plot(Painted):
    """Shows a `PlotContent`; callers set `content` at most once a second."""

    COMPONENT_CLASSES: ClassVar[set[str]] = STYLES

    @dataclass
    class Tapped(Message):
        """The plot was tapped at an x of its axis.

        Parameters
        ----------
        x
            That x, in axis units.
        plot
            The plot's id.
        """

        x: float
        plot: str | None = None

    def paint(self, size: Size) -> list[Line]:
        """Draw the plot."""
        return plot_lines(self.content, size.width, size.height)

    def on_click(self, event: events.Click) -> None:
        """Report the place of a tap."""
        if self.content is None or self.content.why is not None:
            return
        area = plot_area(self.content, self.size.width, self.size.height)
        if area is not None:
            event.stop()
            self.post_message(self.Tapped(area.x_at(event.x), self.id))
