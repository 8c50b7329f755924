"""Content of the track: where the craft went, what it cost there, and where home is."""

import itertools
import math
from bisect import bisect_left

from groundside.dashboard.drawing.track_content import CraftPlace, Place, TrackContent, TrackPiece
from groundside.dashboard.view_state import ViewState
from groundside.studies.trip_series import gaps, trip_series
from groundside.words.reasons import reason_text
from groundside.words.units import METRES_IN_KILOMETRE, Units
from onboard.contract.figure import Unknown
from onboard.contract.trip_line import Position, TripLine
from onboard.efficiency.meters.geodesy import local_offset_m

NEAR_M = 300.0
"""What is shown around the craft on request [m]."""

AT_REST_M = 3.0
"""Way made, and distance from the last point, from which a new point is drawn [m]: about the error
of a GPS, so that its noise at rest does not scribble. Common practice, no source."""

UNLIKE = 0.1
"""Least difference of the outer classes' ends from the middle consumption, as a share of it: below
that the difference between two stretches is mostly chance. Common practice, no source."""

FIGURES = 2
"""Significant figures of the classes' ends."""


def track_content(state: ViewState, *, near: bool = False) -> TrackContent:
    """Return the content of the track.

    Parameters
    ----------
    state
        The present state.
    near
        Whether to show only what is near the craft.
    """
    line, here = state.trip_line, _sound(state.snapshot.position_deg)
    origin = next((place for place in map(_sound, line.position_deg) if place), here)
    if origin is None:
        return TrackContent(why=_why(state))
    limits = _limits(line, state.units)
    craft = None
    if here is not None:
        craft = CraftPlace(_place(origin, here), _ahead_deg(state), stale=state.stale)
    pieces = _pieces(line, origin, state.units, limits)
    if not pieces and craft is None:
        return TrackContent(why=_why(state))
    return TrackContent(
        pieces,
        now_s=state.snapshot.t_s if state.can_seek else None,
        craft=craft,
        home=None if craft is None else _home(state, craft.place),
        limits=limits or (0.0, 0.0),
        cost_unit=state.units.consumption_name if limits else "",
        length_units=length_units(state.units),
        near_m=NEAR_M if near else None,
    )


def length_units(units: Units) -> tuple[tuple[str, float, float], ...]:
    """Return the units of a scale: the reader's from where it reads well, below that metres."""
    least = 1.0 if units.distance_unit_m == METRES_IN_KILOMETRE else 0.1
    return (units.distance_name, units.distance_unit_m, least), ("m", 1.0, 0.0)


def _sound(position: Position | Unknown | None) -> Position | None:
    """Return a position if there can be such a one."""
    if position is None or isinstance(position, Unknown):
        return None
    return position if abs(position[0]) <= 90.0 and abs(position[1]) <= 360.0 else None


def _why(state: ViewState) -> str:
    position = state.snapshot.position_deg
    if isinstance(position, Unknown):
        return f"no track yet: {reason_text(position, state.units)}"
    return "no track yet: no position is known on the way so far"


def _place(origin: Position, position: Position) -> Place:
    east, north = local_offset_m(*origin, *position)
    return float(east), float(north)


def _ahead_deg(state: ViewState) -> float | None:
    """Return the heading, else the course made good, as the craft states them [deg]."""
    for angle in (state.snapshot.heading_deg, state.snapshot.course_deg):
        if not isinstance(angle, Unknown):
            return angle
    return None


def _home(state: ViewState, craft: Place) -> Place | None:
    home = state.snapshot.home
    if isinstance(home, Unknown):
        return None
    bearing = math.radians(home.bearing_deg)
    return (
        craft[0] + home.distance_m * math.sin(bearing),
        craft[1] + home.distance_m * math.cos(bearing),
    )


def _pieces(
    line: TripLine, origin: Position, units: Units, limits: tuple[float, float] | None
) -> tuple[TrackPiece, ...]:
    """Return the way in pieces: a gap in time or in the positions parts two."""
    costs = trip_series(line).wh_per_km or (None,) * len(line.t_s)
    pieces: list[TrackPiece] = []
    rows: list[tuple[float, float, float, int | None]] = []
    made_m = 0.0
    for n, (position, gap) in enumerate(zip(line.position_deg, gaps(line), strict=True)):
        sound = _sound(position)
        if (gap or sound is None) and rows:
            pieces.append(TrackPiece(*zip(*rows, strict=True)))
            rows = []
        if sound is None:
            continue
        east, north = _place(origin, sound)
        if rows:
            away = math.hypot(east - rows[-1][1], north - rows[-1][2])
            if line.distance_m[n] - made_m < AT_REST_M or away < AT_REST_M:
                continue
        cost = costs[n]
        shade = None
        if cost is not None and limits is not None:
            shade = bisect_left(limits, units.consumption(cost))
        rows.append((line.t_s[n], east, north, shade))
        made_m = line.distance_m[n]
    if rows:
        pieces.append(TrackPiece(*zip(*rows, strict=True)))
    return tuple(pieces)


def _limits(line: TripLine, units: Units) -> tuple[float, float] | None:
    """Return the ends of the middle class of consumption, in the reader's unit.

    Thirds of the way made, but no closer to its middle consumption than `UNLIKE`.
    """
    series = trip_series(line)
    known: list[tuple[float, float]] = []
    for n in range(1, len(series.t_s)):
        cost, way_m = series.wh_per_km[n], series.distance_m[n] - series.distance_m[n - 1]
        if cost is not None and way_m > 0.0:
            known.append((units.consumption(cost), way_m))
    if not known:
        return None
    known.sort()
    so_far_m = list(itertools.accumulate(way_m for _, way_m in known))
    low, middle, high = (
        known[bisect_left(so_far_m, share * so_far_m[-1])][0] for share in (1 / 3, 1 / 2, 2 / 3)
    )
    if middle <= 0.0:
        return None
    return _round(min(low, (1.0 - UNLIKE) * middle)), _round(max(high, (1.0 + UNLIKE) * middle))


def _round(value: float) -> float:
    return float(f"{value:.{FIGURES}g}")
