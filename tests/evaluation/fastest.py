"""The fastest trip over a distance above the reserve, for a rider who knows everything.

At one speed over ground, in the mean water current and wind of the ride.
"""

import math

import numpy as np

from tests.craft.steady import calm_power_w
from tests.craft.water import AIR_DENSITY_KGPM3
from tests.evaluation.discharge import discharge_wh
from tests.evaluation.world import World


def steady_power_w(
    world: World, speed_mps: float, course_deg: float, current: tuple[float, float]
) -> float:
    """Return battery power at a speed over ground on a course, in a water current (east, north)."""
    water, craft = world.ride.water, world.craft
    east = speed_mps * math.sin(math.radians(course_deg))
    north = speed_mps * math.cos(math.radians(course_deg))
    through = (east - current[0], north - current[1])
    water_mps = math.hypot(*through)
    towards = math.radians(water.wind_from_deg + 180.0)
    air = (water.wind_mps * math.sin(towards) - east, water.wind_mps * math.cos(towards) - north)
    along = (air[0] * through[0] + air[1] * through[1]) / max(water_mps, 1e-6)
    push_n = 0.5 * AIR_DENSITY_KGPM3 * math.hypot(*air) * along * craft.hull.windage_area_m2
    return calm_power_w(craft, water, water_mps, -push_n)


def fastest_mps(
    world: World,
    distance_m: float,
    course_deg: float,
    current: tuple[float, float],
    charge_fraction: float,
) -> float | None:
    """Return the highest speed over ground that covers a distance; None if none does."""
    pack, stated = world.craft.battery, world.stated
    speeds = np.arange(0.6, 4.81, 0.1)
    spare = []
    for speed_mps in speeds.tolist():
        power_w = steady_power_w(world, speed_mps, course_deg, current)
        if power_w > world.most_w + world.craft.hotel_w:
            break
        left_wh = discharge_wh(
            pack, charge_fraction, pack.capacity_ah, power_w, 0.0, stated.reserve_fraction,
            stated.cutoff_v,
        )  # fmt: skip
        spare.append(left_wh - power_w * distance_m / speed_mps / 3600.0)
    enough = [k for k, wh in enumerate(spare) if wh >= 0.0]
    if not enough:
        return None
    last = enough[-1]
    if last + 1 == len(spare):
        return float(speeds[last])
    return float(speeds[last] + 0.1 * spare[last] / (spare[last] - spare[last + 1]))
