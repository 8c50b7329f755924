"""Trips planned with the curve of one earlier ride: do the stated chances of arriving hold?

The truth is the craft at a steady speed through the water, in another day's wind. The plan is given
the true water current.
"""

import itertools
import math
from dataclasses import replace
from typing import Any

import numpy as np

from groundside.studies.pack_supply import supply_of
from groundside.studies.plan import PlanRow, Way, plan_rows
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
EDGES = (0.0, 0.05, 0.2, 0.5, 0.8, 0.95, 0.99, 1.01)


def ride(seed: int, craft: str | None, variant: str) -> dict[str, Any]:
    """Plan a trip of doubtful length, and ride it."""
    world = draw(seed, craft)
    kept = earlier_curve(world)
    known = Learner(kept.get("curves")).known(PLAIN_SETUP)
    stated = profile(world.stated)
    if known is None or stated.battery is None:
        return {"craft": world.name, "why": "no curve was learned"}
    rng = generator(seed, "planned trip")
    head_mps = float(rng.uniform(-0.4, 0.4))
    way = Way(1000.0, head_mps, variant == BACK)
    supply = supply_of(stated.battery, stated.sensors)
    rows = plan_rows(known, supply, way)
    if not isinstance(rows, tuple):
        return {"craft": world.name, "why": rows.code.code}
    # From the energy per kilometre and that left: a length that takes about all of it.
    row = rows[int(rng.integers(len(rows)))]
    spare_wh = row.energy_wh.value + row.left_wh
    length_m = 1000.0 * spare_wh / row.energy_wh.value * float(rng.uniform(0.75, 1.25))
    rows = plan_rows(known, supply, replace(way, distance_m=length_m))
    assert isinstance(rows, tuple)
    row = min(rows, key=lambda one: abs(one.through_water_mps - row.through_water_mps))
    course_deg = float(rng.uniform(0.0, 360.0))
    ways = [(course_deg, row.through_water_mps - head_mps)]
    if variant == BACK:
        ways.append((course_deg + 180.0, row.through_water_mps + head_mps))
    energy_wh, arrives = _made(world, row, length_m, ways)
    return {
        "craft": world.name,
        "chance": row.arrive_fraction,
        "arrives": arrives,
        "energy_wh": energy_wh,
        "low": row.energy_wh.low,
        "high": row.energy_wh.high,
    }


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
    planned = [row for row in rows if "chance" in row]
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
