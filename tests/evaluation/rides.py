"""Shared by several cases: the start of a voyage, random legs, and riding on for a time."""

import numpy as np

from tests.craft.battery import OverloadError
from tests.craft.rider import Leg
from tests.craft.voyage import Voyage
from tests.evaluation.blocks import STEP_S, Telemetry
from tests.evaluation.truth import CHARGE, VOLTS
from tests.evaluation.world import REST_S, World, calm_speed_mps

LONGEST_S = 4.0 * 3600.0


def start(
    world: World, longest_s: float = LONGEST_S, voyage: Voyage | None = None
) -> tuple[Voyage, Telemetry]:
    """Begin a voyage, made fast for a while with the drive off."""
    voyage = voyage or Voyage(world.ride, world.seed, longest_s, STEP_S)
    for _ in range(round(REST_S / STEP_S)):
        voyage.one_step()
    return voyage, Telemetry(voyage, world.sensors, world.seed, world.extras)


def drawn_leg(
    world: World, rng: np.random.Generator, course_deg: float | None = None, least: float = 0.25
) -> Leg:
    """Draw a leg: half the time at a power, half the time at a speed over ground."""
    course = float(rng.uniform(0.0, 360.0)) if course_deg is None else course_deg
    power_w = world.most_w * float(rng.uniform(least, 0.95))
    ramp_s = float(rng.uniform(3.0, 10.0))
    if rng.random() < 0.5:
        return Leg("at a power", 0.0, course, power_w=power_w, ramp_s=ramp_s)
    speed_mps = calm_speed_mps(world.name, 0.9 * power_w + world.craft.hotel_w)
    return Leg("at a speed", 0.0, course, speed_mps=speed_mps, ramp_s=ramp_s)


def ride_for(voyage: Voyage, seconds_s: float, until_charge: float, cutoff_v: float) -> bool:
    """Ride on; return True once the charge is down to `until_charge` or the voltage too low."""
    for _ in range(min(round(seconds_s / voyage.step_s), voyage.count - voyage.index)):
        try:
            row = voyage.one_step()
        except OverloadError:
            return True
        if row[CHARGE] <= until_charge or row[VOLTS] < cutoff_v:
            return True
    return False
