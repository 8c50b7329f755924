"""Figures for people: numbers with as many digits as are significant.

Functions that take a `Units` convert to it; those named after a quantity append its unit.
"""

import math
from collections.abc import Callable

from groundside.words.units import Units
from onboard.dataclass import dataclass

UNKNOWN = "--"


@dataclass(frozen=True)
class Reading:
    """A figure ready to be written, as made by `groundside.words.readings.reading`.

    Parameters
    ----------
    value
        The number in SI units (Wh/km for a consumption); None if unknown.
    low, high
        Ends of the 95 % interval; None if not stated.
    why
        Why the value is unknown, in words; empty if it is known.
    """

    value: float | None
    low: float | None = None
    high: float | None = None
    why: str = ""


def interval_text(figure: Reading, write: Callable[[float], str]) -> str:
    """Write the ends of a figure's interval; empty if not stated.

    Examples
    --------
    >>> interval_text(Reading(16.4, 15.9, 16.9), one_decimal)
    '15.9 to 16.9'
    """
    if figure.low is None or figure.high is None:
        return ""
    return f"{write(figure.low)} to {write(figure.high)}"


def in_brackets(figure: Reading, write: Callable[[float], str]) -> str:
    """Write an interval to follow its figure; empty if not stated.

    Examples
    --------
    >>> in_brackets(Reading(16.4, 15.9, 16.9), one_decimal)
    ' (15.9 to 16.9)'
    """
    ends = interval_text(figure, write)
    return f" ({ends})" if ends else ""


def figure_text(figure: Reading, write: Callable[[float], str], unit: str = "") -> str:
    """Write a figure with its unit, or why it is unknown.

    Examples
    --------
    >>> figure_text(Reading(16.4), one_decimal, "km")
    '16.4 km'
    >>> figure_text(Reading(None, why="at rest"), whole)
    'unknown (at rest)'
    """
    if figure.value is None:
        return f"unknown ({figure.why})"
    return f"{write(figure.value)} {unit}".rstrip()


def figure_with_interval(figure: Reading, write: Callable[[float], str], unit: str = "") -> str:
    """Write a figure with its interval and unit, or why it is unknown.

    Examples
    --------
    >>> figure_with_interval(Reading(16.4, 15.9, 16.9), one_decimal, "km")
    '16.4 (15.9 to 16.9) km'
    >>> figure_with_interval(Reading(16.4), one_decimal, "km")
    '16.4 km'
    """
    between = interval_text(figure, write)
    if figure.value is None or not between:
        return figure_text(figure, write, unit)
    return f"{write(figure.value)} ({between}) {unit}".rstrip()


def three_figures(value: float) -> str:
    """Write a number with about three figures and no more than two decimals.

    Examples
    --------
    >>> [three_figures(x) for x in (0.4249, 9.96, 16.43, 99.97, 812.4)]
    ['0.42', '9.96', '16.4', '100', '812']
    """
    for limit, decimals in ((9.995, 2), (99.95, 1)):
        if abs(value) < limit:
            return _fixed(value, decimals)
    return _fixed(value, 0)


def _fixed(value: float, decimals: int) -> str:
    """Write with fixed decimals, never as minus zero."""
    text = f"{value:.{decimals}f}"
    return text.removeprefix("-") if float(text) == 0.0 else text


def one_decimal(value: float) -> str:
    """Write with one decimal below a hundred and none above, for speeds and ranges."""
    return _fixed(value, 1 if abs(value) < 99.95 else 0)


def whole(value: float) -> str:
    """Write a whole number."""
    return _fixed(value, 0)


def percent(fraction: float) -> str:
    """Write a fraction as a whole per cent."""
    return f"{_fixed(fraction * 100.0, 0)} %"


def chance_text(chance: float | None) -> str:
    """Return a probability as a whole per cent, never 0 or 100; '-' if unknown.

    Examples
    --------
    >>> chance_text(0.0), chance_text(0.125), chance_text(0.998)
    ('< 1 %', '12 %', '> 99 %')
    """
    if chance is None:
        return "-"
    if chance < 0.01:
        return "< 1 %"
    return "> 99 %" if chance > 0.99 else f"{100 * chance:.0f} %"


def consumption_text(wh_per_km: float, units: Units) -> str:
    """Write a consumption in the rider's units, without the unit: whole from ten upwards.

    Examples
    --------
    >>> from groundside.words.units import CHOICES
    >>> consumption_text(51.4, CHOICES["km/h"]), consumption_text(5.0, CHOICES["kn"])
    ('51', '9.3')
    """
    value = units.consumption(wh_per_km)
    return _fixed(value, 1 if abs(value) < 9.95 else 0)


def cost_text(wh_per_km: float, units: Units) -> str:
    """Write a consumption with the rider's unit.

    Examples
    --------
    >>> from groundside.words.units import CHOICES
    >>> cost_text(51.4, CHOICES["km/h"])
    '51 Wh/km'
    """
    return f"{consumption_text(wh_per_km, units)} {units.consumption_name}"


def speed_text(speed_mps: float, units: Units) -> str:
    """Write a speed with the rider's unit.

    Examples
    --------
    >>> from groundside.words.units import CHOICES
    >>> speed_text(2.5, CHOICES["km/h"])
    '9.0 km/h'
    """
    return f"{one_decimal(units.speed(speed_mps))} {units.speed_name}"


def distance_text(distance_m: float, units: Units) -> str:
    """Write a distance in about three figures with the rider's unit.

    Examples
    --------
    >>> from groundside.words.units import CHOICES
    >>> distance_text(4_321.0, CHOICES["km/h"])
    '4.32 km'
    """
    return f"{three_figures(units.distance(distance_m))} {units.distance_name}"


def clock_text(seconds: float) -> str:
    """Write a duration as hours, minutes and seconds.

    Examples
    --------
    >>> clock_text(431.2)
    '00:07:11'
    """
    whole_s = max(0, math.floor(seconds))
    return f"{whole_s // 3600:02d}:{whole_s // 60 % 60:02d}:{whole_s % 60:02d}"


def duration_text(seconds: float) -> str:
    """Write a duration as people say it: seconds, minutes, or hours and minutes.

    From ten hours up, minutes mean nothing: the power drawn will have changed by then.

    Examples
    --------
    >>> [duration_text(s) for s in (44.9, 431.2, 3599.0, 4216.0, 37_980.0, 267_744.0)]
    ['45 s', '7 min', '1 h 00', '1 h 10', '11 h', '74 h']
    """
    seconds = max(0.0, seconds)
    if round(seconds) < 60:
        return f"{round(seconds)} s"
    minutes = round(seconds / 60.0)
    if minutes < 60:
        return f"{minutes} min"
    if minutes < 600:
        return f"{minutes // 60} h {minutes % 60:02d}"
    return f"{round(seconds / 3600.0)} h"


def age_text(age_s: float) -> str:
    """Write an age, the coarser the older.

    Examples
    --------
    >>> age_text(0.14), age_text(7.31), age_text(75.0), age_text(7300.0)
    ('0.1 s', '7 s', '1 min 15 s', '2 h 01 min')
    """
    if age_s < 0.95:
        return f"{max(0.0, age_s):.1f} s"
    whole_s = round(age_s)
    if whole_s < 60:
        return f"{whole_s} s"
    if whole_s < 3600:
        return f"{whole_s // 60} min {whole_s % 60:02d} s"
    return f"{whole_s // 3600} h {whole_s // 60 % 60:02d} min"
