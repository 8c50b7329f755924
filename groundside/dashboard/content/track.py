"""Content of the track: where the craft went, what it cost there, and where home is."""

import itertools
import math
from bisect import bisect_left

import numpy as np

from groundside.dashboard.drawing.track_content import CraftPlace, Place, TrackContent, TrackPiece
from groundside.dashboard.view_state import ViewState
from groundside.studies.trip_series import TripSeries, gaps, trip_series
from groundside.words.reasons import reason_text
from groundside.words.units import METRES_IN_KILOMETRE, Units
from onboard.contract.figure import Unknown
from onboard.contract.trip_line import Position, TripLine
from onboard.efficiency.meters.geodesy import local_offset_m

NEAR_M = 300.0
"""What the shorter side of the picture shows around the craft on request [m]."""

AT_REST_M = 3.0
"""A new point is drawn once both the way made and the distance from the last point reach this [m]:
about a GPS's error, so that its noise at rest draws no scribble. Common practice, no source."""

JUMP_TIMES, JUMP_M = 2.0, 50.0
"""A point is not joined to the last one if it lies further away than this many times the way made
since, plus this [m]: such as a GPS's first, bad fix. Common practice, no source."""

FAR_M = 100_000.0
"""Home is not drawn if it is said to be further away than this [m]: no craft of this size comes
back from there, and a flat plot would no longer do. Common practice, no source."""

UNLIKE = 0.1
"""Least distance of either limit of the middle class from the middle consumption, as a share of it:
below that the difference between two stretches is mostly chance. Common practice, no source."""

FIGURES = 2
"""Significant figures of these limits."""


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
    origin = _origin(line) or here
    if origin is None:
        return TrackContent(why=_why(state))
    series = trip_series(line)
    limits = _limits(series, state.units)
    craft = None
    if here is not None:
        craft = CraftPlace(_place(origin, here), _ahead_deg(state), stale=state.stale)
    shades = _shades(series, limits, state.units) or (None,) * len(line.t_s)
    pieces = _pieces(line, _places(line, origin), shades)
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
    """Return the units of a scale: the reader's where it reads well, metres below that."""
    least = 1.0 if units.distance_unit_m == METRES_IN_KILOMETRE else 0.1
    return (units.distance_name, units.distance_unit_m, least), ("m", 1.0, 0.0)


def _sound(position: Position | Unknown | None) -> Position | None:
    """Return a position if there can be such a place, else None."""
    if position is None or isinstance(position, Unknown):
        return None
    return position if abs(position[0]) <= 90.0 and abs(position[1]) <= 360.0 else None


def _why(state: ViewState) -> str:
    position = state.snapshot.position_deg
    if isinstance(position, Unknown):
        return f"no track yet: {reason_text(position, state.units)}"
    return "no track yet: no position is known so far"


def _origin(line: TripLine) -> Position | None:
    """Return the first position that is near the next one, as the first fix may be bad."""
    known = [position for position in map(_sound, line.position_deg) if position is not None]
    for one, after in itertools.pairwise(known):
        if math.hypot(*_place(one, after)) < FAR_M:
            return one
    return known[0] if known else None


def _place(origin: Position, position: Position) -> Place:
    east, north = local_offset_m(*origin, *position)
    return float(east), float(north)


def _ahead_deg(state: ViewState) -> float | None:
    """Return the heading, or else the course made good, as the craft states it [deg]."""
    for angle in (state.snapshot.heading_deg, state.snapshot.course_deg):
        if not isinstance(angle, Unknown):
            return angle
    return None


def _home(state: ViewState, craft: Place) -> Place | None:
    home = state.snapshot.home
    if isinstance(home, Unknown) or not 0.0 <= home.distance_m <= FAR_M:
        return None
    bearing = math.radians(home.bearing_deg)
    return (
        craft[0] + home.distance_m * math.sin(bearing),
        craft[1] + home.distance_m * math.cos(bearing),
    )


def _places(line: TripLine, origin: Position) -> list[Place | None]:
    """Return each point's place."""
    sound = [_sound(position) for position in line.position_deg]
    known = [position for position in sound if position is not None]
    if not known:
        return [None] * len(sound)
    latitude, longitude = np.array(known).T
    east, north = local_offset_m(origin[0], origin[1], latitude, longitude)
    places = iter(zip(east.tolist(), north.tolist(), strict=True))
    return [None if position is None else next(places) for position in sound]


def _shades(
    series: TripSeries, limits: tuple[float, float] | None, units: Units
) -> tuple[int | None, ...]:
    """Return the class of consumption on the way to each point; None where unknown."""
    return tuple(
        None if cost is None or limits is None else bisect_left(limits, units.consumption(cost))
        for cost in series.wh_per_km
    )


def _pieces(
    line: TripLine, places: list[Place | None], shades: tuple[int | None, ...]
) -> tuple[TrackPiece, ...]:
    """Return the way in pieces, parted by gaps in time or in the positions, and by jumps."""
    pieces: list[list[tuple[float, float, float, int | None]]] = [[]]
    made_m = 0.0
    for n, (place, gap) in enumerate(zip(places, gaps(line), strict=True)):
        if gap or place is None:
            pieces.append([])
        if place is None:
            continue
        if pieces[-1]:
            _, east, north, _ = pieces[-1][-1]
            away_m, way_m = math.dist(place, (east, north)), line.distance_m[n] - made_m
            if away_m > JUMP_TIMES * way_m + JUMP_M:
                pieces.append([])
            elif min(away_m, way_m) < AT_REST_M:
                continue
        pieces[-1].append((line.t_s[n], *place, shades[n]))
        made_m = line.distance_m[n]
    return tuple(TrackPiece(*zip(*rows, strict=True)) for rows in pieces if len(rows) > 1)


def _limits(series: TripSeries, units: Units) -> tuple[float, float] | None:
    """Return the limits of the middle class of consumption, in the reader's unit.

    They divide the way made into thirds, but stay at least `UNLIKE` from its middle consumption.
    """
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
