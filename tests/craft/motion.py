"""Motion in one step: pushed by forces, carried by the water, steered by the rider."""

import math

from tests.craft.craft import Moment, Ride, State
from tests.craft.rider import Steer, turn_wish_radps
from tests.craft.water import AIR_DENSITY_KGPM3

ROPE_S = 1.5
"""Time in which a rope stops a craft that is made fast."""

SWING_M = 0.4
SWING_PERIOD_S = 55.0
"""Amplitude and period of a craft's swing on its rope."""

HELM_LAG_S = 0.8

STEERAGE_MPS = 0.4
"""Speed over ground below which the course is meaningless: the rider steers by heading."""


def over_ground_mps(state: State, moment: Moment, step_s: float) -> tuple[float, float]:
    """Return the velocity over ground, east and north; made fast, set the speed through water.

    Under way the water carries the craft; made fast, the rope holds it and the water runs past.
    """
    sine, cosine = math.sin(state.heading_rad), math.cos(state.heading_rad)
    if moment.leg.steer is not Steer.MADE_FAST:
        return (
            state.water_mps * sine + moment.current_east_mps,
            state.water_mps * cosine + moment.current_north_mps,
        )
    pull = min(step_s / ROPE_S, 1.0)
    swing_mps = SWING_M * 2.0 * math.pi / SWING_PERIOD_S * math.cos(moment.swing_rad)
    east_mps = state.east_mps + pull * (swing_mps * cosine - state.east_mps)
    north_mps = state.north_mps + pull * (-swing_mps * sine - state.north_mps)
    past_east, past_north = east_mps - moment.current_east_mps, north_mps - moment.current_north_mps
    state.water_mps = past_east * sine + past_north * cosine
    return east_mps, north_mps


def move(
    ride: Ride,
    state: State,
    moment: Moment,
    over_ground: tuple[float, float],
    *,
    force_n: float,
    step_s: float,
) -> None:
    """Move by one step; `force_n` is thrust less resistance, without wind and turning."""
    east_mps, north_mps = over_ground
    state.east_m += east_mps * step_s
    state.north_m += north_mps * step_s
    state.east_mps, state.north_mps = east_mps, north_mps
    speed_mps = math.hypot(east_mps, north_mps)
    state.trend_mps2 = (speed_mps - state.seen_mps) / ride.rider.perception_s
    state.seen_mps += min(step_s, ride.rider.perception_s) * state.trend_mps2
    fast = moment.leg.steer is Steer.MADE_FAST
    if not fast:
        hull = ride.craft.hull
        total_n = force_n + _wind_n(ride, state, moment) - _turning_n(ride, state)
        mass_kg = hull.mass_kg * (1.0 + hull.added_mass_fraction)
        state.water_mps += (total_n / mass_kg + moment.wave_mps2) * step_s
    made_good = speed_mps > STEERAGE_MPS and not fast
    now_rad = math.atan2(east_mps, north_mps) if made_good else state.heading_rad
    wish_radps = turn_wish_radps(ride.rider, _course_rad(state, moment), now_rad)
    state.turn_radps += min(step_s / HELM_LAG_S, 1.0) * (wish_radps - state.turn_radps)
    state.heading_rad = (state.heading_rad + state.turn_radps * step_s) % (2.0 * math.pi)


def _course_rad(state: State, moment: Moment) -> float:
    if moment.leg.steer is Steer.HOME:
        return math.atan2(-state.east_m, -state.north_m)
    return math.radians(moment.leg.course_deg)


def _wind_n(ride: Ride, state: State, moment: Moment) -> float:
    """Return the force of the wind along the craft."""
    east_mps = moment.wind_east_mps - state.east_mps
    north_mps = moment.wind_north_mps - state.north_mps
    along_mps = east_mps * math.sin(state.heading_rad) + north_mps * math.cos(state.heading_rad)
    pressure = 0.5 * AIR_DENSITY_KGPM3 * math.hypot(east_mps, north_mps) * along_mps
    return pressure * ride.craft.hull.windage_area_m2


def _turning_n(ride: Ride, state: State) -> float:
    """Return the drag of a turn: the hull drifts at an angle, part of its side force points aft."""
    hull = ride.craft.hull
    side_n = hull.mass_kg * state.water_mps * abs(state.turn_radps)
    return side_n * math.sin(hull.turn_drag_s * abs(state.turn_radps))
