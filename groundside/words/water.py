"""Set and drift in words: speed and direction of the water, with their uncertainty."""

import math

from groundside.words.directions import point_of, spread_along
from groundside.words.reasons import reason_text
from groundside.words.units import Units
from onboard.contract.figure import Figure, Unknown
from onboard.contract.snapshot import SetAndDrift

TWO_SIDED_95 = 1.959964
"""97.5 % quantile of the normal distribution (tables)."""

FINE_MPS = 0.1
"""Speeds of water get a second decimal if this is at most 0.3 in the rider's unit [m/s]."""


def water_text(water: SetAndDrift | Unknown, units: Units) -> str:
    """Return set and drift in words, or why they are unknown.

    Examples
    --------
    >>> from groundside.words.units import CHOICES
    >>> component = Figure(0.06, 0.03, 0.09)
    >>> water_text(SetAndDrift(component, component, (0.0, 0.0, 0.0)), CHOICES["km/h"])
    'water sets 0.3 km/h towards NE, sure to 0.1'
    """
    known = known_water(water)
    if isinstance(known, Unknown):
        return f"water not known: {reason_text(known, units)}"
    return f"water {sets_text(known, units)}"


def known_water(water: SetAndDrift | Unknown) -> SetAndDrift | Unknown:
    """Return set and drift if at least one component is known; else why none is."""
    if isinstance(water, SetAndDrift):
        east, north = water.east_mps, water.north_mps
        return east if isinstance(east, Unknown) and isinstance(north, Unknown) else water
    return water


def sets_text(water: SetAndDrift, units: Units) -> str:
    """Return the known part of set and drift, such as `sets 0.3 km/h towards NE`."""
    east, north = water.east_mps, water.north_mps
    if isinstance(east, Unknown):
        return (
            "" if isinstance(north, Unknown) else _one_axis(north, "SN", "east-west", east, units)
        )
    if isinstance(north, Unknown):
        return _one_axis(east, "WE", "north-south", north, units)
    speed_mps = math.hypot(east.value, north.value)
    variance = (
        spread_along(water, east.value / speed_mps, north.value / speed_mps)
        if speed_mps > 0
        else None
    )
    sure_mps = (
        TWO_SIDED_95 * math.sqrt(variance)
        if variance is not None
        else max(_reach(east), _reach(north))
    )
    if speed_mps <= sure_mps:
        most = _written(speed_mps + sure_mps, units)
        return f"sets less than {most} {units.speed_name}, if at all"
    towards = point_of(math.degrees(math.atan2(east.value, north.value)) % 360.0)
    sure = f", sure to {_written(sure_mps, units)}" if sure_mps > 0 else ""
    return f"sets {_written(speed_mps, units)} {units.speed_name} towards {towards}{sure}"


def _one_axis(known: Figure, names: str, across: str, other: Unknown, units: Units) -> str:
    """Return the known component if the courses ridden determine only one."""
    value = known.value
    if abs(value) <= _reach(known):
        most = _written(abs(value) + _reach(known), units)
        text = f"sets less than {most} {units.speed_name} {'-'.join(names)}"
    else:
        sure = f", sure to {_written(_reach(known), units)}" if _reach(known) > 0 else ""
        name = names[1] if value > 0 else names[0]
        text = f"sets {_written(abs(value), units)} {units.speed_name} to the {name}{sure}"
    return f"{text}; {across} not known: {reason_text(other, units)}"


def _reach(figure: Figure) -> float:
    """Return half the width of an interval; 0 if not stated."""
    if figure.low is None or figure.high is None:
        return 0.0
    return abs(figure.high - figure.low) / 2


def _written(speed_mps: float, units: Units) -> str:
    decimals = 1 if units.speed(FINE_MPS) > 0.3 else 2
    return f"{units.speed(speed_mps):.{decimals}f}"
