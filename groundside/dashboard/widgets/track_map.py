"""The widget that shows the track, which can be tapped."""

import math
from typing import ClassVar

from textual import events
from textual.geometry import Size
from textual.message import Message

from groundside.dashboard.drawing.painted import Line, Painted
from groundside.dashboard.drawing.track_drawing import STYLES, map_frame, map_top, track_lines
from onboard.dataclass import dataclass

REACH_CELLS = 4
"""A tap further than this from the track does nothing [cells]."""


class TrackMap(Painted):
    """Shows a `TrackContent`; callers set `content` at most once a second."""

    COMPONENT_CLASSES: ClassVar[set[str]] = STYLES

    @dataclass
    class Tapped(Message):
        """The track was tapped at the point with this stream time [s]."""

        t_s: float

    def paint(self, size: Size) -> list[Line]:
        """Draw the track."""
        return track_lines(self.content, size.width, size.height)

    def on_click(self, event: events.Click) -> None:
        """Report the point of the track nearest to a tap."""
        if self.content is None or self.content.why is not None:
            return
        frame = map_frame(self.content, self.size.width, self.size.height)
        x, y = 2 * event.x + 0.5, 4 * (event.y - map_top(self.content, self.size.height)) + 1.5
        place = frame.place(x, y)
        near = [
            (math.hypot(east - place[0], north - place[1]), t_s)
            for piece in self.content.pieces
            for t_s, east, north in zip(piece.t_s, piece.east_m, piece.north_m, strict=True)
        ]
        if near and min(near)[0] <= REACH_CELLS * 4 * frame.dot_m:
            event.stop()
            self.post_message(self.Tapped(min(near)[1]))
