"""Steady blocks and settled seconds of a craft that follows a given curve on moving water."""

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.curve.steady import SteadyBlock
from onboard.efficiency.sources.settled_seconds import SettledSeconds

SPEEDS = np.linspace(0.05, 8.0, 4000)


def cubic(speed_mps):
    """Return the power of a hotel load and friction: P = 14 + 18 v^3."""
    return 14.0 + 18.0 * speed_mps**3


def above_hotel(speed_mps):
    """Return the power of a high hotel load and little else at low speeds: P = 49 + 12.5 v^2.7."""
    return 49.0 + 12.5 * speed_mps**2.7


def steep(speed_mps):
    """Return a power that goes from P ~ v^3 to P ~ v^8 above 2 m/s."""
    return 20.0 * speed_mps**3 * (1.0 + (speed_mps / 2.0) ** 10) ** 0.5


def hump(speed_mps):
    """Return a power with P ~ v^4 up to 2 m/s and P ~ v beyond, with a bend between."""
    return 15.0 * speed_mps**4 / (1.0 + (speed_mps / 2.2) ** 10) ** 0.3


def velocity_over_ground(course_deg, through_mps, water_mps) -> FloatArray:
    """Return the velocity over ground of a rider who crabs to hold a course over ground."""
    course = np.radians(course_deg)
    along = np.array([np.sin(course), np.cos(course)])
    side = np.array([along[1], -along[0]])
    across = float(side @ water_mps)
    return along * (float(along @ water_mps) + np.sqrt(through_mps**2 - across**2))


def ride(rng, power_at, legs, water_mps, *, speed_sd=0.025, course_sd_deg=1.5, wander=0.0):
    """Return blocks of legs (course, power, number of blocks), one per 20 s.

    The water wanders as a random walk of variance `wander` [m^2/s^3] per axis, and is `water_mps`
    at the end.
    """
    count = sum(leg[2] for leg in legs)
    walk = np.cumsum(rng.standard_normal((count, 2)) * np.sqrt(wander * 20.0), axis=0)
    water = np.asarray(water_mps) + walk - walk[-1]
    blocks: list[SteadyBlock] = []
    for course_deg, power_w, blocks_in_leg in legs:
        for _ in range(blocks_in_leg):
            through = np.interp(power_w, power_at(SPEEDS), SPEEDS)
            course = course_deg + rng.normal() * course_sd_deg
            velocity = velocity_over_ground(course, through, water[len(blocks)])
            along = velocity / np.hypot(*velocity)
            velocity = velocity + along * rng.normal() * speed_sd
            measured_w = power_w * (1 + 0.01 * rng.normal())
            t_s = 20.0 * (len(blocks) + 1)
            blocks.append(SteadyBlock(t_s, measured_w, 0.01 * power_w, *velocity.tolist()))
    return blocks


def settled(power_w, east_mps, north_mps, first_s: float = 1.0) -> SettledSeconds:
    """Return settled seconds with the columns used to learn the curve; the rest is unknown."""
    count = len(power_w)
    unknown = np.full(count, np.nan)
    known = {
        "t_s": first_s + np.arange(count, dtype=np.float64),
        "power_w": np.asarray(power_w, dtype=np.float64),
        "east_mps": np.asarray(east_mps, dtype=np.float64),
        "north_mps": np.asarray(north_mps, dtype=np.float64),
    }
    names = SettledSeconds.__dataclass_fields__.keys() - {"readings"}
    return SettledSeconds(**{name: known.get(name, unknown) for name in names})
