"""Do all figures on one screen agree, at every moment of whole rides?

A ride goes out, rests now and then, and comes home or goes on until the pack is down to its
reserve; it ends with a rest. Figures are read every ten seconds, as a rider would see them.
"""

from collections import Counter
from collections.abc import Generator, Iterator
from dataclasses import replace
from typing import Any

import numpy as np

from onboard.contract.snapshot import Figures
from onboard.efficiency.advice.target import Aim
from tests.craft.chance import generator
from tests.craft.rider import Leg, Steer
from tests.craft.voyage import Voyage
from tests.evaluation.contradictions import contradictions, kind_of
from tests.evaluation.pilots import earlier_curve
from tests.evaluation.riders import KINDS, LEG_S, Manner, begun, drawn, held
from tests.evaluation.rides import LONGEST_S, ride_for
from tests.evaluation.stated_engine import engine
from tests.evaluation.statistics import markdown
from tests.evaluation.target_cue import drawn_distance_m
from tests.evaluation.truth import reserve_charge
from tests.evaluation.world import World, draw

AIMS = ("no target", "a distance", "a speed")
VARIANTS = {
    f"{aim}, {curve}": 0.1 for aim in AIMS for curve in ("no earlier curve", "an earlier curve")
}
EVERY_S = 10.0
REST_S = (30.0, 180.0)
REST_CHANCE, HOME_CHANCE = 0.25, 0.5


def ride(seed: int, craft: str | None, variant: str) -> dict[str, Any]:
    """Ride; return how often each kind of contradiction was shown, with an example of each."""
    snapshots, shown, examples = 0, Counter[str](), dict[str, str]()
    for figures in walk(seed, craft, variant):
        snapshots += 1
        lines = contradictions(figures)
        shown.update({kind_of(line) for line in lines})
        shown["any"] += bool(lines)
        for line in lines:
            examples.setdefault(kind_of(line), f"{line} at {figures.t_s:.0f} s")
    return {"snapshots": snapshots, "shown": dict(shown), "examples": examples}


def walk(seed: int, craft: str | None, variant: str) -> Iterator[Figures]:
    """Yield the figures shown over a ride."""
    aim, _, curve = variant.partition(", ")
    # No two variants share a world.
    world_seed = seed * len(VARIANTS) + list(VARIANTS).index(variant)
    rng = generator(world_seed, "rider")
    world, manner = drawn(draw(world_seed, craft), KINDS[int(rng.integers(len(KINDS)))], rng)
    tested = engine(world.stated, earlier_curve(world) if curve == "an earlier curve" else None)
    voyage, telemetry = begun(world, manner)
    tested.fold(telemetry.block())
    distance_m = drawn_distance_m(world, float(rng.uniform(0.0, 360.0)), 0.5)
    distance_m *= float(rng.uniform(0.3, 1.5))
    speed_mps = held(world, "speed", world.most_w * float(rng.uniform(0.3, 0.9))).speed_mps
    if aim == "a distance":
        tested.set_aim(Aim(distance_m=distance_m))
    elif aim == "a speed":
        tested.set_aim(Aim(speed_mps=speed_mps))
    for _ in _ridden(voyage, world, manner, rng):
        tested.fold(telemetry.block())
        yield tested.figures()


def _ridden(
    voyage: Voyage, world: World, manner: Manner, rng: np.random.Generator
) -> Iterator[None]:
    """Ride, and stop every ten seconds to be looked at."""
    pack, stated = world.craft.battery, world.stated
    empty = reserve_charge(pack, stated.reserve_fraction)
    turn = empty + float(rng.uniform(0.3, 0.8)) * (pack.start_fraction - empty)
    comes_home = bool(rng.random() < HOME_CHANCE)
    until = turn if comes_home else empty - 0.02
    course_deg, ended = manner.axis_deg, False
    while not ended and voyage.time_s < 0.6 * LONGEST_S:
        leg = manner.leg(world, rng, course_deg)
        voyage.begin(leg)
        seconds_s = float(rng.uniform(*LEG_S[manner.often]))
        ended = yield from _looked_at(voyage, seconds_s, until, world)
        course_deg = None if manner.axis_deg is None else voyage.leg.course_deg
        if rng.random() < REST_CHANCE:
            voyage.begin(_rest(voyage))
            yield from _looked_at(voyage, float(rng.uniform(*REST_S)), 0.0, world)
    if comes_home:
        homeward = manner.leg(world, rng, None)
        voyage.begin(replace(homeward, steer=Steer.HOME))
        while voyage.home_m > world.ride.rider.arrival_m and voyage.time_s < 0.9 * LONGEST_S:
            if (yield from _looked_at(voyage, EVERY_S, empty - 0.02, world)):
                break
    voyage.begin(_rest(voyage))
    yield from _looked_at(voyage, 120.0, 0.0, world)


def _looked_at(
    voyage: Voyage, seconds_s: float, until: float, world: World
) -> Generator[None, None, bool]:
    """Ride for a time, with a look every ten seconds; return whether the pack ended it."""
    for _ in range(max(round(seconds_s / EVERY_S), 1)):
        ended = ride_for(voyage, EVERY_S, until, world.stated.cutoff_v)
        yield None
        if ended:
            return True
    return False


def _rest(voyage: Voyage) -> Leg:
    return Leg("resting", 0.0, voyage.leg.course_deg, power_w=0.0, steer=Steer.MADE_FAST)


def table(rows: list[dict[str, Any]]) -> str:
    """Return how many moments and rides show a contradiction, and of which kinds."""
    lines = []
    for variant in VARIANTS:
        mine = [row for row in rows if row["variant"] == variant]
        moments = sum(row["snapshots"] for row in mine)
        bad = sum(row["shown"].get("any", 0) for row in mine)
        rides = sum(bool(row["examples"]) for row in mine)
        lines.append([variant, str(len(mine)), str(moments), str(bad), str(rides)])
    head = ("rides", "number", "moments", "moments with a contradiction", "rides with one")
    return (
        markdown("agreement: contradictions among the figures of one moment", head, lines)
        + "\n"
        + _kinds(rows)
    )


def _kinds(rows: list[dict[str, Any]]) -> str:
    moments, rides = Counter[str](), Counter[str]()
    examples: dict[str, str] = {}
    for row in rows:
        moments.update(row["shown"])
        rides.update(row["examples"].keys())
        for kind, line in row["examples"].items():
            examples.setdefault(kind, f"{line}, seed {row['seed']}, {row['variant']}")
    lines = [
        [kind, str(moments[kind]), str(rides[kind]), examples[kind].partition(": ")[2]]
        for kind, _ in rides.most_common()
    ]
    return markdown("kinds of contradictions", ("kind", "moments", "rides", "for example"), lines)
