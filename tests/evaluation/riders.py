"""Riders: what each kind holds, how often it is changed, and riding to and fro between two places.

A rider holds the drive's power, its throttle (which sets a duty, or the motor's current), or the
speed over ground, with quick or slow hands. Some ride straight on after each change; some turn
round every few minutes without changing what they hold; one kind changes often, and changes what it
holds too.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from tests.craft.battery import open_circuit_v
from tests.craft.motor import shaft_point
from tests.craft.rider import Leg, Steer
from tests.craft.voyage import Voyage
from tests.evaluation.blocks import STEP_S, Telemetry
from tests.evaluation.rides import LONGEST_S, start
from tests.evaluation.world import World, calm_speed_mps

POWER, DUTY, MOTOR_CURRENT, SPEED = "power", "duty", "motor_current", "speed"
HOLDS = (POWER, DUTY, MOTOR_CURRENT, SPEED)
POWER_LAPS, SPEED_LAPS, CHANGING = "power_to_and_fro", "speed_to_and_fro", "changing"
KINDS = (*HOLDS, POWER_LAPS, SPEED_LAPS, CHANGING)

LEG_S = {False: (180.0, 900.0), True: (20.0, 240.0)}
"""How long a level is held, by riders that change now and then, and often [s]."""

LAP_S = (90.0, 360.0)
"""Time from one place to the other [s]."""

RAMP_S = (1.5, 15.0)
"""How fast a rider's hand moves the throttle, for a quick and a slow one [s]."""

LEAST = 0.25
"""Least power, as a share of the highest."""


@dataclass(frozen=True)
class Manner:
    """How one rider rides."""

    holds: tuple[str, ...]
    often: bool
    """Changes often."""
    axis_deg: float | None
    """Course of the line ridden to and fro; None if each leg has a course of its own."""
    length_m: float
    ramp_s: float

    def leg(self, world: World, rng: np.random.Generator, course_deg: float | None) -> Leg:
        """Draw what is held next."""
        hold = self.holds[int(rng.integers(len(self.holds)))]
        course = float(rng.uniform(0.0, 360.0)) if course_deg is None else course_deg
        power_w = world.most_w * float(rng.uniform(LEAST, 0.95))
        return replace(held(world, hold, power_w), course_deg=course, ramp_s=self.ramp_s)


def drawn(world: World, kind: str, rng: np.random.Generator) -> tuple[World, Manner]:
    """Draw a rider of a kind; return also the world, whose throttle is what this rider's drive has.

    A rider that changes often uses what the drive has: one drive controls its duty, another the
    motor's current.
    """
    by_current = kind == MOTOR_CURRENT or (kind == CHANGING and bool(rng.random() < 0.5))
    holds: tuple[str, ...] = (kind.removesuffix("_to_and_fro"),)
    if kind == CHANGING:
        holds = (POWER, MOTOR_CURRENT if by_current else DUTY, SPEED)
    if by_current:
        most_a = held(world, MOTOR_CURRENT, world.most_w).motor_amps_a
        world = replace(world, extras=replace(world.extras, most_motor_amps_a=most_a))
    axis_deg = float(rng.uniform(0.0, 360.0))
    length_m = float(rng.uniform(*LAP_S)) * calm_speed_mps(world.name, 0.6 * world.most_w)
    ramp_s = float(np.exp(rng.uniform(*np.log(RAMP_S))))
    laps = kind in {POWER_LAPS, SPEED_LAPS}
    manner = Manner(holds, kind == CHANGING, axis_deg if laps else None, length_m, ramp_s)
    return world, manner


def held(world: World, hold: str, power_w: float) -> Leg:
    """Return a leg that holds what takes this drive power in calm water, the pack two thirds full.

    Its course and its ramp are for the caller to set.
    """
    craft = world.craft
    speed_mps = calm_speed_mps(world.name, power_w + craft.hotel_w)
    if hold == POWER:
        return Leg("at a power", 0.0, power_w=power_w)
    if hold == SPEED:
        # At 0.9 of the power, so that some is left against wind and water current.
        speed_mps = calm_speed_mps(world.name, 0.9 * power_w + craft.hotel_w)
        return Leg("at a speed", 0.0, speed_mps=speed_mps)
    shaft = shaft_point(
        craft.motor,
        craft.propeller,
        power_w,
        speed_mps * (1.0 - craft.propeller.wake_fraction),
        density_kgpm3=world.ride.water.density_kgpm3,
        guess_turns_per_s=10.0,
    )
    if shaft is None:
        raise ValueError(f"{power_w:.0f} W do not drive the {world.name}")
    if hold == MOTOR_CURRENT:
        return Leg("at a motor current", 0.0, motor_amps_a=shaft.motor.amps_a)
    pack = craft.battery
    open_v = open_circuit_v(pack, 2.0 / 3.0)
    loaded_v = open_v - pack.resistance_ohm * power_w / open_v
    return Leg("at a duty", 0.0, duty=min(shaft.motor.volts_v / loaded_v, 1.0))


class Shuttle(Voyage):
    """A voyage to and fro between the start and a place on the first leg's course."""

    def __init__(self, world: World, axis_deg: float, length_m: float, longest_s: float) -> None:
        super().__init__(world.ride, world.seed, longest_s, STEP_S)
        self._axis_deg, self._length_m = axis_deg, length_m

    def one_step(self) -> tuple[float, ...]:
        """Turn round at either end; make a step."""
        if self.leg.steer is Steer.COURSE:
            axis = math.radians(self._axis_deg)
            along_m = self.state.east_m * math.sin(axis) + self.state.north_m * math.cos(axis)
            outward = self.leg.course_deg == self._axis_deg
            if along_m > self._length_m if outward else along_m < 0.0:
                back = (self._axis_deg + 180.0) % 360.0 if outward else self._axis_deg
                self.begin(replace(self.leg, course_deg=back))
        return super().one_step()


def begun(world: World, manner: Manner) -> tuple[Voyage, Telemetry]:
    """Begin a voyage in a manner; see `rides.start`."""
    if manner.axis_deg is None:
        return start(world)
    return start(world, voyage=Shuttle(world, manner.axis_deg, manner.length_m, LONGEST_S))
