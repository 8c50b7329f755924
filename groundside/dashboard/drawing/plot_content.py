"""The content of a plot, free of screen code: line, band, points and marks, in axis units."""

from dataclasses import field

from onboard.dataclass import dataclass

NOW = "*"
"""The sign of the present place, on plots, bar and track: no letter, as N is for north."""


@dataclass(frozen=True)
class Axis:
    """The range and unit of an axis."""

    low: float = 0.0
    high: float = 1.0
    unit: str = ""


@dataclass(frozen=True)
class Trace:
    """A line through points, broken where y is None."""

    x: tuple[float, ...] = ()
    y: tuple[float | None, ...] = ()


@dataclass(frozen=True)
class PlotBand:
    """The area between two lines over the same x."""

    x: tuple[float, ...] = ()
    low: tuple[float, ...] = ()
    high: tuple[float, ...] = ()


@dataclass(frozen=True)
class Point:
    """A point with its letter: hatched if stale, drawn at the edge if outside the frame."""

    letter: str
    x: float
    y: float
    stale: bool = False


@dataclass(frozen=True)
class AxisMark:
    """A letter on the x axis.

    Parameters
    ----------
    letter
        One character.
    x
        Its place on the axis.
    low, high
        Ends of its interval, drawn along the axis; None without one.
    top
        Upper end of a dotted line from the axis; None for no line.
    stale
        Whether it is based on stale data.
    """

    letter: str
    x: float
    low: float | None = None
    high: float | None = None
    top: float | None = None
    stale: bool = False


@dataclass(frozen=True)
class TimeBar:
    """A replay's time bar under the x axis, in axis units.

    Parameters
    ----------
    now
        The present place.
    ready
        How far the ride is ready to go to.
    end
        The end of the saved ride.
    events
        Places of the events.
    """

    now: float
    ready: float
    end: float
    events: tuple[float, ...] = ()


@dataclass(frozen=True)
class PlotContent:
    """The content of a plot.

    Parameters
    ----------
    title
        Texts above the plot, most important first; as many as fit are shown.
    x, y
        The axes.
    trace, band
        The line, and the shaded area behind it.
    points, marks
        Highlighted places, most important first.
    bar
        The time bar under the x axis; None for none.
    notes
        What the letters mean, written into the upper left corner where the line leaves room.
    why
        Text shown instead of the plot if there is nothing to draw; else None.
    label_columns
        Minimum width of the y axis's numbers, so that stacked plots line up.
    """

    title: tuple[str, ...] = ()
    x: Axis = field(default_factory=Axis)
    y: Axis = field(default_factory=Axis)
    trace: Trace = field(default_factory=Trace)
    band: PlotBand = field(default_factory=PlotBand)
    points: tuple[Point, ...] = ()
    marks: tuple[AxisMark, ...] = ()
    bar: TimeBar | None = None
    notes: tuple[str, ...] = ()
    why: str | None = None
    label_columns: int = 0
