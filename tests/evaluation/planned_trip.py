"""Trips planned with the curve of one earlier ride: do the stated chances of arriving hold?

The truth is the craft at a steady speed through the water, in another day's wind. The plan is given
the true water current. Each earlier ride serves for several trips, each with its own pack, wind,
course, speed and length: they share the error of that curve and of its sensors only.
"""

import itertools
import math
from typing import Any

import numpy as np

from groundside.studies.leg import Leg
from groundside.studies.pack_supply import Packs, Supply
from groundside.studies.plan import Knowledge, PlanRow, plan_rows, rows_at
from groundside.studies.way_ahead import Way
from onboard.efficiency.curve.learner import PLAIN_SETUP, Learner
from tests.craft.chance import generator
from tests.craft.steady import calm_power_w
from tests.craft.water import AIR_DENSITY_KGPM3
from tests.evaluation.informed import discharge_wh
from tests.evaluation.pilots import earlier_curve
from tests.evaluation.stated_engine import profile
from tests.evaluation.statistics import markdown, number, share
from tests.evaluation.world import World, draw

THERE, BACK = "there", "there and back"
VARIANTS = {THERE: 1.0, BACK: 0.5}
TRIPS = 4
"""Trips planned by each earlier ride."""

COLD_DEGC = 8.0
"""Temperature below which a pack's is stated to the plan [degC]."""

EDGES = np.linspace(0.0, 1.0, 11).tolist()


def ride(seed: int, craft: str | None, variant: str) -> dict[str, Any]:
    """Plan trips of doubtful length, and ride them."""
    world = draw(seed, craft)
    kept = earlier_curve(world)
    known = Learner(kept.get("curves")).for_another_day(PLAIN_SETUP)
    if known is None:
        return {"craft": world.name, "why": "no curve was learned"}
    rng = generator(seed, "planned trip")
    trips = [
        _trip(draw(seed + 900_000_011 + number, world.name), Knowledge(*known), rng, variant)
        for number in range(TRIPS)
    ]
    return {"craft": world.name, "trips": [trip for trip in trips if trip is not None]}


def _trip(
    world: World, knowledge: Knowledge, rng: np.random.Generator, variant: str
) -> dict[str, Any] | None:
    """Plan and ride one trip, of a length whose chance is any; None if no speed makes way."""
    stated = profile(world.stated)
    assert stated.battery is not None
    head_mps = float(rng.uniform(-0.4, 0.4))
    way = Way((Leg(1000.0, head_mps),), variant == BACK)
    # Of a pack that is cold, its owner knows that.
    degc = world.craft.battery.temperature_degc
    supply = Packs(stated.battery, stated.sensors, 1, degc if degc < COLD_DEGC else None).supply()
    rows = plan_rows(knowledge, supply, way)
    if not isinstance(rows, tuple):
        return None
    through = np.array([rows[int(rng.integers(len(rows)))].through_water_mps])
    length_m = _length_m(knowledge, supply, way, through, float(rng.uniform(0.0, 1.0)))
    row = rows_at(knowledge, supply, way.turned_at(length_m), through)[0]
    course_deg = float(rng.uniform(0.0, 360.0))
    ways = [(course_deg, row.through_water_mps - head_mps)]
    if variant == BACK:
        ways.append((course_deg + 180.0, row.through_water_mps + head_mps))
    energy_wh, arrives = _made(world, row, length_m, ways)
    return {
        "chance": row.arrive_fraction,
        "arrives": arrives,
        "energy_wh": energy_wh,
        "low": row.energy_wh.low,
        "high": row.energy_wh.high,
    }


def _length_m(
    knowledge: Knowledge, supply: Supply, way: Way, through: np.ndarray, chance: float
) -> float:
    """Return the length at which the stated chance of arriving is as wanted, by bisection."""
    low_m, high_m = 10.0, 1e6
    for _ in range(40):
        middle_m = math.sqrt(low_m * high_m)
        row = rows_at(knowledge, supply, way.turned_at(middle_m), through)[0]
        low_m, high_m = (middle_m, high_m) if row.arrive_fraction > chance else (low_m, middle_m)
    return low_m


def _made(
    world: World, row: PlanRow, length_m: float, ways: list[tuple[float, float]]
) -> tuple[float, bool]:
    """Return the true energy for legs (course, speed over ground); whether the reserve is left."""
    energy_wh = sum(
        _power_w(world, row.through_water_mps, over, course) * length_m / over / 3600.0
        for course, over in ways
    )
    mean_w = energy_wh * 3600.0 / (len(ways) * length_m / row.speed_mps)
    pack, stated = world.craft.battery, world.stated
    left_wh = discharge_wh(
        pack, pack.start_fraction, pack.capacity_ah, mean_w, 0.0, stated.reserve_fraction,
        stated.cutoff_v,
    )  # fmt: skip
    return energy_wh, left_wh >= energy_wh


def _power_w(world: World, through_mps: float, over_mps: float, course_deg: float) -> float:
    """Return battery power at a speed through the water on a course, in the day's wind."""
    water = world.ride.water
    off = math.radians(water.wind_from_deg - course_deg)
    against, across = water.wind_mps * math.cos(off) + over_mps, water.wind_mps * math.sin(off)
    push_n = 0.5 * AIR_DENSITY_KGPM3 * math.hypot(against, across) * against
    push_n *= world.craft.hull.windage_area_m2
    return calm_power_w(world.craft, water, through_mps, push_n)


def table(rows: list[dict[str, Any]]) -> str:
    """Return the share of arrivals among trips of similar stated chance."""
    planned = [trip for row in rows for trip in row.get("trips", [])]
    lines = []
    for low, high in itertools.pairwise(EDGES):
        some = [row for row in planned if low <= row["chance"] < high]
        lines.append(
            [
                f"{low:.2f} to {min(high, 1.0):.2f}",
                str(len(some)),
                number(float(np.mean([row["chance"] for row in some])) if some else math.nan),
                share(sum(row["arrives"] for row in some), len(some)),
            ]
        )
    inside = sum(row["low"] <= row["energy_wh"] <= row["high"] for row in planned)
    lines.append(["energy in its interval", str(len(planned)), "-", share(inside, len(planned))])
    head = ("chance said", "trips", "mean", "arrived with the reserve")
    return markdown("trips planned by an earlier ride's curve", head, lines)
