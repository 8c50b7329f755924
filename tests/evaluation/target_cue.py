"""Follow the target's cue over a fixed distance: does the rider arrive, and how fast?"""

from dataclasses import replace
from typing import Any

import numpy as np

from onboard.efficiency.advice.target import Aim
from tests.craft.battery import OverloadError, rest_energy_wh
from tests.craft.chance import generator
from tests.craft.rider import Leg
from tests.craft.voyage import Voyage
from tests.evaluation.discharge import discharge_wh
from tests.evaluation.fastest import fastest_mps, steady_power_w
from tests.evaluation.pilots import earlier_curve
from tests.evaluation.rides import start
from tests.evaluation.stated_engine import engine, figure
from tests.evaluation.statistics import markdown, percent, percentile, share
from tests.evaluation.truth import CHARGE, VOLTS
from tests.evaluation.world import World, calm_speed_mps, draw

WITH, WITHOUT = "with a curve", "without a curve"
VARIANTS = {WITH: 1.0, WITHOUT: 0.2}
EVERY_S = 15.0
LONGEST_S = 3.0 * 3600.0
NUDGE = 0.05
"""Change of speed when the rider eases or pushes and the engine gives no speed."""


def ride(seed: int, craft: str | None, variant: str) -> dict[str, Any]:
    """Ride a distance, following the cue."""
    world = draw(seed, craft)
    kept = earlier_curve(world) if variant == WITH else None
    rng = generator(seed, "rider")
    course_deg = float(rng.uniform(0.0, 360.0))
    distance_m = drawn_distance_m(world, course_deg, float(rng.uniform(0.3, 0.8)))
    voyage, telemetry = start(world, LONGEST_S)
    tested = engine(world.stated, kept)
    tested.fold(telemetry.block())
    tested.set_aim(Aim(distance_m=distance_m))
    began_s, charge = voyage.time_s, voyage.state.charge_fraction
    speed_mps = calm_speed_mps(world.name, 0.4 * world.most_w)
    voyage.begin(Leg("to the target", 0.0, course_deg, speed_mps=speed_mps))
    made_m, low, cues = 0.0, False, 0
    first = voyage.index
    while made_m < distance_m and not low and voyage.index < voyage.count - 60:
        made_m, low = _go(voyage, made_m, distance_m, world)
        tested.fold(telemetry.block())
        figures = tested.figures()
        cue = figure(figures, "target.cue").get("value")
        cues += cue is not None
        wanted_mps = _follow(speed_mps, cue, figure(figures, "target.speed_mps").get("value"))
        if wanted_mps != speed_mps:
            speed_mps = wanted_mps
            voyage.begin(replace(voyage.leg, speed_mps=speed_mps))
    if not cues:
        return {"craft": world.name, "why": "no cue on the whole way"}
    pack = world.craft.battery
    left = rest_energy_wh(pack, voyage.state.charge_fraction) / rest_energy_wh(pack, 1.0)
    truth = voyage.truth()
    mean = (
        float(np.mean(truth.current_east_mps[first:])),
        float(np.mean(truth.current_north_mps[first:])),
    )
    best_mps = fastest_mps(world, distance_m, course_deg, mean, charge)
    return {
        "craft": world.name,
        "arrived": made_m >= distance_m,
        "surplus": left - world.stated.reserve_fraction,
        "took_s": voyage.time_s - began_s,
        "fastest_s": None if best_mps is None else distance_m / best_mps,
    }


def drawn_distance_m(world: World, course_deg: float, power_share: float) -> float:
    """Return a distance that can just be covered at a share of the craft's highest power."""
    water, pack, stated = world.ride.water, world.craft.battery, world.stated
    speed_mps = calm_speed_mps(world.name, power_share * world.most_w)
    towards = np.radians(water.set_deg)
    current = float(water.drift_mps * np.sin(towards)), float(water.drift_mps * np.cos(towards))
    along = current[0] * np.sin(np.radians(course_deg)) + current[1] * np.cos(
        np.radians(course_deg)
    )
    ground_mps = max(float(speed_mps + along), 0.5)
    power_w = steady_power_w(world, ground_mps, course_deg, current)
    left_wh = discharge_wh(
        pack, pack.start_fraction, pack.capacity_ah, power_w, 0.0, stated.reserve_fraction,
        stated.cutoff_v,
    )  # fmt: skip
    return left_wh / power_w * 3600.0 * ground_mps


def _go(voyage: Voyage, made_m: float, distance_m: float, world: World) -> tuple[float, bool]:
    """Ride on for one interval; return the distance made and whether the pack gave out."""
    for _ in range(round(EVERY_S / voyage.step_s)):
        try:
            row = voyage.one_step()
        except OverloadError:
            return made_m, True
        made_m += float(np.hypot(voyage.state.east_mps, voyage.state.north_mps)) * voyage.step_s
        if row[VOLTS] < world.stated.cutoff_v or row[CHARGE] <= 0.0:
            return made_m, True
        if made_m >= distance_m:
            break
    return made_m, False


def _follow(speed_mps: float, cue: str | None, advised_mps: float | None) -> float:
    """Return the rider's new speed: the advised one, else a nudge in the cue's direction."""
    if cue in (None, "hold"):
        return speed_mps
    if advised_mps is not None:
        return float(advised_mps)
    return speed_mps * (1.0 - NUDGE if cue == "ease" else 1.0 + NUDGE)


def table(rows: list[dict[str, Any]]) -> str:
    """Return arrivals above the reserve, and times."""
    lines = []
    for variant in VARIANTS:
        mine = [row for row in rows if row["variant"] == variant]
        done = [row for row in mine if "surplus" in row]
        made = [row for row in done if row["arrived"]]
        kept = sum(row["surplus"] >= 0.0 for row in made)
        slower = [row["took_s"] / row["fastest_s"] - 1.0 for row in made if row["fastest_s"]]
        lines.append(
            [
                variant,
                str(len(mine)),
                str(len(mine) - len(done)),
                str(len(done) - len(made)),
                share(kept, len(done)),
                percent(percentile([row["surplus"] for row in made], 50)),
                percent(percentile(slower, 50)),
                percent(percentile(slower, 95)),
            ]
        )
    head = (
        "trips", "number", "no cue", "pack gave out", "arrived with the reserve", "median surplus",
        "time over the fastest, median", "95th percentile",
    )  # fmt: skip
    return markdown("target: following the cue over a fixed distance", head, lines)
