"""Is a craft without an earlier curve called back at once, and comes home with half its charge?

The rider does not look at the advice: out on a sixth of the charge or so, and home.
"""

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from tests.craft.battery import OverloadError
from tests.craft.chance import generator
from tests.craft.rider import Steer
from tests.craft.voyage import Voyage
from tests.evaluation.out_and_home import LONGEST_S, StrandedError, ride_on
from tests.evaluation.rides import drawn_leg, start
from tests.evaluation.stated_engine import engine
from tests.evaluation.statistics import markdown, share
from tests.evaluation.world import World, draw

STRAIGHT, TO_AND_FRO, LEGS = "straight out", "to and fro", "legs on any course"
VARIANTS = {STRAIGHT: 1.0, TO_AND_FRO: 0.5, LEGS: 0.5}

USED = 0.06, 0.2
"""Charge used before the craft turns home."""

LEG_S = 90.0, 400.0
"""How long a leg lasts, unless it is the only one [s]."""

LOOK_S = 15.0
LONGEST_OUT_S = 9000.0

HALF, EARLY = 0.5, 0.15
"""Charge left at home, and share of the trip's duration, that the question is about."""


def ride(seed: int, craft: str | None, variant: str) -> dict[str, Any]:
    """Ride out and home; return when turning back was first advised."""
    world = draw(seed, craft)
    rng = generator(seed, "called back")
    voyage, telemetry = start(world, LONGEST_S)
    tested = engine(world.stated)
    used = float(rng.uniform(*USED))
    until = voyage.state.charge_fraction - used
    first_s = first_m = math.nan

    def look() -> None:
        nonlocal first_s, first_m
        tested.fold(telemetry.block())
        if tested.adviser.home.turn_back and math.isnan(first_s):
            first_s, first_m = voyage.time_s, voyage.home_m

    try:
        leg = drawn_leg(world, rng, least=0.2)
        while voyage.state.charge_fraction > until and voyage.time_s < LONGEST_OUT_S:
            voyage.begin(leg)
            lasts_s = math.inf if variant == STRAIGHT else float(rng.uniform(*LEG_S))
            _ride_leg(voyage, world, lasts_s, until, look)
            back = replace(leg, course_deg=(leg.course_deg + 180.0) % 360.0)
            leg = back if variant == TO_AND_FRO else drawn_leg(world, rng, least=0.2)
        voyage.begin(replace(voyage.leg, steer=Steer.HOME))
        arrival_m = world.ride.rider.arrival_m
        while voyage.home_m > arrival_m and voyage.time_s < LONGEST_S - LOOK_S:
            ride_on(voyage, LOOK_S, world, arrival_m)
            look()
    except (StrandedError, OverloadError):
        return {"why": "stranded"}
    return {
        "craft": world.name,
        "left": voyage.state.charge_fraction,
        "took_s": voyage.time_s,
        "first_s": None if math.isnan(first_s) else first_s,
        "first_m": None if math.isnan(first_s) else first_m,
    }


def _ride_leg(
    voyage: Voyage, world: World, lasts_s: float, until: float, look: Callable[[], None]
) -> None:
    """Ride a leg until it is over, the charge is down, or the day."""
    until_s = min(voyage.time_s + lasts_s, LONGEST_OUT_S)
    while voyage.time_s < until_s and voyage.state.charge_fraction > until:
        ride_on(voyage, LOOK_S, world)
        look()


def table(rows: list[dict[str, Any]]) -> str:
    """Return how often, and how early, the craft was called back."""
    lines = []
    for variant in VARIANTS:
        mine = [row for row in rows if row["variant"] == variant]
        half = [row for row in mine if row.get("left", 0.0) >= HALF]
        called = [row for row in half if row["first_s"] is not None]
        early = [row for row in called if row["first_s"] < EARLY * row["took_s"]]
        lines.append(
            [
                variant,
                str(len(mine)),
                str(len(half)),
                share(len(early), len(half)),
                share(len(called), len(half)),
            ]
        )
    head = (
        "rides", "number", "home with half the charge", "called back in the first 15 %",
        "at any time",
    )  # fmt: skip
    return markdown("called back without an earlier curve", head, lines)
