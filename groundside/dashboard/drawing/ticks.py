"""Tick positions on an axis: multiples of 1, 2 or 5 times a power of ten.

In a plot of cells a tick can only stand on a whole row or column. Rounding each to the nearest cell
would make unequal steps; `even_ticks` lengthens the axis until a step is a whole number of cells.
"""

import math
from collections.abc import Callable

from onboard.dataclass import dataclass

LENGTHENED_MOST = 1.15
"""For more ticks an axis may grow to this many times its range. Common practice, no source."""
NO_SPAN = 1e-9
"""A range that is this share of its ends is none: floats could not place ticks within it."""
FEWEST = (3, 2)
"""Numbers of ticks worth lengthening an axis even further, best first."""


@dataclass(frozen=True)
class EvenTicks:
    """An axis whose ticks are a whole number of cells apart.

    Parameters
    ----------
    low, high
        The ends of the axis, at the centres of its first and last cell.
    step
        Distance between ticks, in axis units.
    first
        Cells from the low end to the first tick.
    apart
        Cells between ticks.
    cells
        Cells from end to end.
    """

    low: float
    high: float
    step: float
    first: int
    apart: int
    cells: int

    def places(self) -> list[tuple[int, float]]:
        """Return the place [cells from the low end] and the value of each tick."""
        per_cell = self.step / self.apart
        number = round((self.low + self.first * per_cell) / self.step)
        places = range(self.first, self.cells + 1, self.apart)
        return [(place, (number + tick) * self.step) for tick, place in enumerate(places)]


def even_ticks(
    low: float, high: float, cells: int, least_apart: Callable[[float], int]
) -> EvenTicks:
    """Return an axis from `low` or a little below to `high` or a little above, with even ticks.

    Parameters
    ----------
    low, high
        Ends of what must be shown, in axis units.
    cells
        Cells from end to end: one fewer than the plot has rows or columns.
    least_apart
        Returns, for a step, how many cells apart the width of its numbers keeps the ticks.

    Examples
    --------
    >>> axis = even_ticks(0.0, 400.0, 10, lambda step: 2)
    >>> axis.high, axis.places()
    (400.0, [(0, 0.0), (5, 200.0), (10, 400.0)])
    """
    cells = max(1, cells)
    span = high - low
    if not (span > NO_SPAN * max(1.0, abs(low), abs(high)) and math.isfinite(span)):
        low, span = (low, 1.0) if math.isfinite(low) else (0.0, 1.0)
    fitting: list[EvenTicks] = []
    power = math.floor(math.log10(span / cells))
    for tens in range(power, power + 5):
        for times in (1, 2, 5):
            axis = _with_step(low, low + span, cells, times * 10.0**tens, least_apart)
            if axis is not None:
                fitting.append(axis)
    if not fitting:  # no room for even two numbers
        return EvenTicks(low, low + span, span, cells + 1, cells, cells)
    several = fitting
    for fewest in FEWEST:
        enough = [axis for axis in fitting if len(axis.places()) >= fewest]
        if enough:
            several = enough
            break
    shortest = min(axis.high - axis.low for axis in several)
    most = max(LENGTHENED_MOST * span, shortest * (1.0 + 1e-9))
    return min((a for a in several if a.high - a.low <= most), key=lambda axis: axis.step)


def _with_step(
    low: float, high: float, cells: int, step: float, least_apart: Callable[[float], int]
) -> EvenTicks | None:
    """Return the shortest axis with this step; None if its ticks would be too close."""
    least = max(1, min(least_apart(step), cells))
    most = min(cells, math.floor(step * cells / (high - low) * (1.0 + 1e-9)))
    for apart in range(most, least - 1, -1):
        per_cell = step / apart
        below = math.floor(low / per_cell + 1e-6)
        if (below + cells) * per_cell >= high - 1e-6 * per_cell:
            first = -below % apart
            if first > cells:
                return None
            return EvenTicks(
                below * per_cell, (below + cells) * per_cell, step, first, apart, cells
            )
    return None


def tick_step(span: float, most: int) -> float:
    """Return the smallest step, 1, 2 or 5 times a power of ten, giving at most `most` steps.

    Examples
    --------
    >>> [tick_step(span, 5) for span in (1.0, 4.1, 9.0, 26.0, 700.0)]
    [0.2, 1.0, 2.0, 10.0, 200.0]
    """
    least = span / max(1, most)
    if not (least > 0.0 and math.isfinite(least)):
        return 1.0
    power = 10.0 ** math.floor(math.log10(least))
    for times in (1, 2, 5):
        if times * power >= least * (1.0 - 1e-9):
            return times * power
    return 10.0 * power


def tick_text(value: float, step: float) -> str:
    """Write a tick with as many decimals as its step needs.

    Examples
    --------
    >>> tick_text(0.6000000001, 0.2), tick_text(200.0, 50.0), tick_text(-0.0, 0.5)
    ('0.6', '200', '0.0')
    """
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    text = f"{value:.{decimals}f}"
    return text.removeprefix("-") if float(text) == 0.0 else text


def round_top(value: float, most: int = 8) -> float:
    """Round up to a multiple of a step, so that an axis does not follow every change of its data.

    Examples
    --------
    >>> round_top(7.2), round_top(431.0), round_top(0.0)
    (8.0, 500.0, 1.0)
    """
    if not (value > 0.0 and math.isfinite(value)):
        return 1.0
    step = tick_step(value, most)
    return math.ceil(value / step - 1e-6) * step
