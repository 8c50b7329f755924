"""Days on which the way home costs more than the way out, and cold ones: a drawn world changed."""

from dataclasses import replace

from tests.craft.battery import REFERENCE_DEGC
from tests.craft.chance import generator
from tests.craft.rider import Leg
from tests.craft.water import Water
from tests.evaluation.world import COLD_CAPACITY_SD, COLD_DEGC, COLD_LOSS_PER_K, World

FOLLOWING_MPS = 0.4, 0.7
"""Speed of the water current that helps outward."""

ABOUT_DEG = 20.0
"""Standard deviation of its direction, and the wind's, about the course outward."""

RISE_MPS_PER_H, GUST_SD_MPS = (4.0, 9.0), 1.0
"""Rise, from a calm at the start, of the wind that blows against the way home; and its gusts."""

LITTLE_CHARGE = 0.08, 0.2
"""Charge at the start above the reserve, on a ride that begins with little."""


def following(world: World, leg: Leg) -> World:
    """Return a world in which the water current helps outward."""
    rng = generator(world.seed, "day")
    set_deg = (leg.course_deg + ABOUT_DEG * rng.standard_normal()) % 360.0
    drift_mps = float(rng.uniform(*FOLLOWING_MPS))
    return _on(world, replace(world.ride.water, set_deg=set_deg, drift_mps=drift_mps))


def rising_headwind(world: World, leg: Leg) -> World:
    """Return a world in which a wind gets up that blows against the way home."""
    rng = generator(world.seed, "day")
    water = replace(
        world.ride.water,
        wind_from_deg=(leg.course_deg + 180.0 + ABOUT_DEG * rng.standard_normal()) % 360.0,
        wind_mps=0.0,
        wind_rise_mps2=float(rng.uniform(*RISE_MPS_PER_H)) / 3600.0,
        wind_turn_degps=0.0,
        gust_sd_mps=GUST_SD_MPS,
    )
    return _on(world, water)


def cold(world: World, leg: Leg) -> World:
    """Return a world with a cold pack, whose owner knows its capacity less well."""
    del leg
    stated, pack = world.stated, world.craft.battery
    if stated.capacity_sd == COLD_CAPACITY_SD:
        return world
    rng = generator(world.seed, "day")
    degc = float(rng.uniform(*COLD_DEGC))
    kept_fraction = 1.0 - float(rng.uniform(*COLD_LOSS_PER_K)) * (REFERENCE_DEGC - degc)
    pack = replace(pack, temperature_degc=degc, capacity_ah=pack.capacity_ah * kept_fraction)
    stated = replace(stated, capacity_sd=COLD_CAPACITY_SD, resistance_ohm=None)
    ride = replace(world.ride, craft=replace(world.craft, battery=pack))
    return replace(world, ride=ride, stated=stated)


def nearly_empty(world: World, leg: Leg) -> World:
    """Return a world in which little charge is left and the water current helps outward."""
    rng = generator(world.seed, "little charge")
    world = following(world, leg)
    stated, pack = world.stated, world.craft.battery
    start = stated.reserve_fraction + float(rng.uniform(*LITTLE_CHARGE))
    pack = replace(pack, start_fraction=pack.start_fraction - stated.start_fraction + start)
    ride = replace(world.ride, craft=replace(world.craft, battery=pack))
    return replace(world, ride=ride, stated=replace(stated, start_fraction=start))


def _on(world: World, water: Water) -> World:
    return replace(world, ride=replace(world.ride, water=water))
