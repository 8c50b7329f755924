"""Half an hour at anchor or adrift: no distance at rest, and slow drift within the interval.

Made fast, the craft swings to and fro on its rope: its true distance is zero.
"""

from dataclasses import replace
from typing import Any

import numpy as np

from tests.craft.chance import generator
from tests.craft.rider import Leg, Steer
from tests.craft.sensors import Sensors
from tests.craft.voyage import Voyage
from tests.evaluation.blocks import STEP_S, Telemetry
from tests.evaluation.stated_engine import engine, figure
from tests.evaluation.statistics import markdown, number, percentile, share
from tests.evaluation.world import draw

FAST, ADRIFT = "made fast", "adrift, 0.02 to 0.3 m/s"
VARIANTS = {FAST: 1.0, ADRIFT: 1.0}
LASTS_S = 1800.0
MOST_M = 15.0


def ride(seed: int, craft: str | None, variant: str) -> dict[str, Any]:
    """Lie for half an hour, with the drive off."""
    world = draw(seed, craft)
    rng = generator(seed, "rider")
    sensors = replace(
        Sensors(),
        position_sd_m=float(rng.uniform(1.0, 2.0)),
        velocity_sd_mps=0.05,
        velocity_memory_s=world.sensors.velocity_memory_s,
    )
    drift_mps = float(np.exp(rng.uniform(np.log(0.02), np.log(0.3))))
    water = replace(world.ride.water, wind_mps=0.0, gust_sd_mps=0.0, wave_speed_mps=0.0)
    if variant == ADRIFT:
        water = replace(water, drift_mps=drift_mps, drift_sd_mps=0.0)
    steer = Steer.MADE_FAST if variant == FAST else Steer.COURSE
    plan = (Leg("lying", LASTS_S, 200.0, steer=steer),)
    voyage = Voyage(replace(world.ride, water=water, plan=plan), seed, LASTS_S, STEP_S)
    telemetry = Telemetry(voyage, sensors, seed)
    while voyage.index < voyage.count:
        voyage.one_step()
    tested = engine(world.stated)
    tested.fold(telemetry.block())
    truth = voyage.truth()
    made_m = 0.0 if variant == FAST else float(np.sum(truth.speed_mps[:-1])) * STEP_S
    return {
        "craft": world.name,
        "true": made_m,
        **figure(tested.figures(), "trip.distance_m"),
    }


def table(rows: list[dict[str, Any]]) -> str:
    """Return the table of the distances counted."""
    lines = []
    for variant in VARIANTS:
        known = [row for row in rows if row["variant"] == variant and "value" in row]
        judged = [row for row in known if row.get("low") is not None]
        error = [abs(row["value"] - row["true"]) for row in known]
        lines.append(
            [
                variant,
                str(len(known)),
                number(percentile([row["value"] for row in known], 50), 1),
                number(max((row["value"] for row in known), default=float("nan")), 1),
                share(sum(one < MOST_M for one in error), len(known)),
                share(sum(row["low"] <= row["true"] <= row["high"] for row in judged), len(judged)),
                number(percentile([row["high"] for row in judged], 50), 1),
            ]
        )
    head = (
        "half an hour", "rides", "median counted [m]", "most [m]", "within 15 m of the truth",
        "coverage", "median upper end [m]",
    )  # fmt: skip
    return markdown("at anchor: distance counted", head, lines)
