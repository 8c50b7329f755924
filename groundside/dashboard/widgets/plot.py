"""A plot in a widget: painted when it is told, and asked where it was tapped."""

from typing import ClassVar

from textual import events
from textual.geometry import Size
from textual.message import Message

from groundside.dashboard.drawing.painted import Line, Painted
from groundside.dashboard.drawing.plotting import STYLES, frame_of, plot_lines


class Plot(Painted):
    """Shows a `PlotFace`; whoever sets `shown` does so once a second at most."""

    COMPONENT_CLASSES: ClassVar[set[str]] = STYLES

    class Tapped(Message):
        """The plot was tapped at an x of its axis."""

        def __init__(self, x: float) -> None:
            super().__init__()
            self.x = x

    def paint(self, size: Size) -> list[Line]:
        """Draw the plot."""
        return plot_lines(self.shown, size.width, size.height)

    def on_click(self, event: events.Click) -> None:
        """Say where it was tapped."""
        if self.shown is None or self.shown.why is not None:
            return
        frame = frame_of(self.shown, self.size.width, self.size.height)
        if frame is not None:
            event.stop()
            self.post_message(self.Tapped(frame.x_at(event.x, self.shown.x)))
