"""Set and drift in words: how fast the water goes, where to, and how sure that is."""

import math

from groundside.dashboard.faces.way import point_of, spread_along
from groundside.figures import Reading, part, reading
from groundside.source import Snapshot
from groundside.units import Units

TWO_SIDED_95 = 1.959964
"""97.5 % quantile of the normal distribution (tables)."""

FINE_MPS = 0.1
"""Where this is no whole tenth of the rider's unit, speeds of water need a second decimal."""


def water_text(snapshot: Snapshot | None, units: Units) -> str:
    """Say what the water does.

    Examples
    --------
    >>> from groundside.units import CHOICES
    >>> component = {"value": 0.06, "low": 0.03, "high": 0.09}
    >>> there = {"set_and_drift": {"east_mps": component, "north_mps": component}}
    >>> water_text(there, CHOICES["km/h"])
    'water sets 0.3 km/h towards NE, sure to 0.1'
    """
    if snapshot is None:
        return ""
    if not part(snapshot, "set_and_drift"):
        return f"water not known: {reading(snapshot, 'set_and_drift').why}"
    east = reading(snapshot, "set_and_drift", "east_mps")
    north = reading(snapshot, "set_and_drift", "north_mps")
    if east.value is None and north.value is None:
        return f"water not known: {east.why}"
    if east.value is None or north.value is None:
        return _one_axis(east, north, units)
    speed_mps = math.hypot(east.value, north.value)
    variance = (
        spread_along(snapshot, east.value / speed_mps, north.value / speed_mps)
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
        return f"water sets less than {most} {units.speed_name}, if at all"
    towards = point_of(math.degrees(math.atan2(east.value, north.value)) % 360.0)
    sure = f", sure to {_written(sure_mps, units)}" if sure_mps > 0 else ""
    return f"water sets {_written(speed_mps, units)} {units.speed_name} towards {towards}{sure}"


def _one_axis(east: Reading, north: Reading, units: Units) -> str:
    """Say what is known where the courses ridden determine one component alone."""
    known, names, other = (east, "WE", north) if north.value is None else (north, "SN", east)
    value = known.value or 0.0
    name = names[1] if value > 0 else names[0]
    across = "north-south" if known is east else "east-west"
    if abs(value) <= _reach(known):
        most = _written(abs(value) + _reach(known), units)
        said = f"water sets less than {most} {units.speed_name} {'-'.join(names)}"
    else:
        sure = f", sure to {_written(_reach(known), units)}" if _reach(known) > 0 else ""
        said = f"water sets {_written(abs(value), units)} {units.speed_name} to the {name}{sure}"
    return f"{said}; {across} not known: {other.why}"


def _reach(figure: Reading) -> float:
    """Give half the width of an interval, 0 where none is stated."""
    if figure.low is None or figure.high is None:
        return 0.0
    return abs(figure.high - figure.low) / 2


def _written(speed_mps: float, units: Units) -> str:
    decimals = 1 if units.speed(FINE_MPS) > 0.3 else 2
    return f"{units.speed(speed_mps):.{decimals}f}"
