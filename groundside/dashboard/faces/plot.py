"""What a plot shows: lines, a band, points and marks in the numbers of its axes. No screen code."""

from dataclasses import dataclass, field


@dataclass(frozen=True)
class Axis:
    """From where to where an axis goes, in which unit."""

    low: float = 0.0
    high: float = 1.0
    unit: str = ""


@dataclass(frozen=True)
class Trace:
    """A line through points; where y is None the line is broken."""

    x: tuple[float, ...] = ()
    y: tuple[float | None, ...] = ()


@dataclass(frozen=True)
class Band:
    """What lies between two lines over the same x."""

    x: tuple[float, ...] = ()
    low: tuple[float, ...] = ()
    high: tuple[float, ...] = ()


@dataclass(frozen=True)
class Point:
    """A point with its letter; an old one is hatched. Beyond the frame it stands at the edge."""

    letter: str
    x: float
    y: float
    stale: bool = False


@dataclass(frozen=True)
class AxisMark:
    """A letter at the x axis.

    Parameters
    ----------
    letter
        One character.
    x
        Where it stands.
    low, high
        Ends of its interval, drawn along the axis, where it has one.
    top
        A dotted line goes up from the axis to this y; none where None.
    stale
        Whether it is of old data.
    """

    letter: str
    x: float
    low: float | None = None
    high: float | None = None
    top: float | None = None
    stale: bool = False


@dataclass(frozen=True)
class PlotFace:
    """All that a plot shows.

    Parameters
    ----------
    title
        Texts above the plot, the most important first; as many as fit.
    x, y
        The axes.
    trace, band
        The line, and what is shaded behind it.
    points, marks
        What is pointed out, the most important first.
    why
        What stands in place of the plot where there is nothing to draw, else None.
    label_columns
        Least room for the numbers of the y axis, so that plots above each other line up.
    """

    title: tuple[str, ...] = ()
    x: Axis = field(default_factory=Axis)
    y: Axis = field(default_factory=Axis)
    trace: Trace = field(default_factory=Trace)
    band: Band = field(default_factory=Band)
    points: tuple[Point, ...] = ()
    marks: tuple[AxisMark, ...] = ()
    why: str | None = None
    label_columns: int = 0
