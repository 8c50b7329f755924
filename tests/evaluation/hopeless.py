"""Trips that cannot come home: a wind from behind that gets up before anybody could notice it.

Wind is not measured; it shows by its push. On the way out that can be told from the wandering of
the water only once it is larger. A trip is hopeless if turning a minute later, and riding home at
whatever speed is best, would not bring the craft home.
"""

from dataclasses import replace

from scipy.optimize import brentq

from tests.craft.battery import OverloadError
from tests.craft.rider import Leg, Steer
from tests.craft.steady import calm_power_w
from tests.craft.water import AIR_DENSITY_KGPM3
from tests.evaluation.out_and_home import LONGEST_S, StrandedError, ride_on
from tests.evaluation.rides import start
from tests.evaluation.world import World, calm_speed_mps

NOTICED_MPS = 0.06
"""Change of speed at a power that stands out: twice the standard deviation of the water's own."""

NOTICED_AFTER_S = 60.0
SPEEDS_MPS = (0.8, 1.0, 1.2, 1.4, 1.6, 1.8, 2.0, 2.3, 2.6)


def noticed_s(world: World, leg: Leg) -> float:
    """Return when a rising wind from behind first stands out on the way out [s]; may be never."""
    craft, water = world.craft, world.ride.water
    speed = leg.speed_mps or calm_speed_mps(world.name, (leg.power_w or 0.0) + craft.hotel_w)

    def against_n(wind_mps: float) -> float:
        relative = speed - wind_mps
        return 0.5 * AIR_DENSITY_KGPM3 * craft.hull.windage_area_m2 * abs(relative) * relative

    at_start_w = calm_power_w(craft, water, speed, against_n(water.wind_mps))

    def lacking_w(wind_mps: float) -> float:
        return calm_power_w(craft, water, speed + NOTICED_MPS, against_n(wind_mps)) - at_start_w

    if water.wind_rise_mps2 <= 0 or lacking_w(water.wind_most_mps) > 0:
        return LONGEST_S
    wind_mps = float(brentq(lacking_w, water.wind_mps, water.wind_most_mps, xtol=1e-3))
    return (wind_mps - water.wind_mps) / water.wind_rise_mps2


def is_hopeless(world: World, leg: Leg) -> bool:
    """Return whether no speed brings the craft home from where the wind could be noticed."""
    turn_s = noticed_s(world, leg) + NOTICED_AFTER_S
    return not any(_comes_home(world, leg, turn_s, speed) for speed in SPEEDS_MPS)


def _comes_home(world: World, leg: Leg, turn_s: float, speed_mps: float) -> bool:
    voyage, _ = start(world, LONGEST_S)
    voyage.begin(leg)
    try:
        ride_on(voyage, turn_s - voyage.time_s, world)
        voyage.begin(replace(leg, steer=Steer.HOME, power_w=None, speed_mps=speed_mps))
        ride_on(voyage, LONGEST_S, world, world.ride.rider.arrival_m)
    except (StrandedError, OverloadError):
        return False
    return voyage.home_m <= world.ride.rider.arrival_m
