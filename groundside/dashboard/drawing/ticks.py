"""Tick positions on an axis: multiples of 1, 2 or 5 times a power of ten."""

import math


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


def ticks(low: float, high: float, most: int) -> tuple[float, ...]:
    """Return the multiples of the step from `low` to `high`, inclusive.

    Examples
    --------
    >>> ticks(0.0, 14.0, 5), ticks(-0.5, 1.2, 4)
    ((0.0, 5.0, 10.0), (-0.5, 0.0, 0.5, 1.0))
    """
    step = tick_step(high - low, most)
    first, last = math.ceil(low / step - 1e-6), math.floor(high / step + 1e-6)
    return tuple(number * step for number in range(first, last + 1))


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
