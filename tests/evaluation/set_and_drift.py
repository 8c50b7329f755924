"""Set and drift: the error of known components, on several kinds of courses and in wind."""

import math
from typing import Any

import numpy as np

from tests.craft.chance import generator
from tests.craft.rider import Leg
from tests.craft.voyage import Voyage
from tests.evaluation.rides import ride_for, start
from tests.evaluation.stated_engine import engine, figure
from tests.evaluation.statistics import markdown, number, percent, percentile, share
from tests.evaluation.world import World, calm_speed_mps, draw

COURSES, RECIPROCAL, CIRCLE, ONE = "three courses or more", "to and fro", "a circle", "one course"
VARIANTS = {COURSES: 0.6, RECIPROCAL: 0.2, CIRCLE: 0.2, ONE: 0.1}
LITTLE_WIND_MPS = 2.0
TRUTH_S = 60.0
"""Time over which the true water current is averaged, as it varies [s]."""


def ride(seed: int, craft: str | None, variant: str) -> dict[str, Any]:
    """Ride courses at two powers, and get the set and drift."""
    world = draw(seed, craft)
    rng = generator(seed, "rider")
    voyage, telemetry = start(world)
    _ride(voyage, world, rng, variant)
    tested = engine(world.stated)
    tested.fold(telemetry.block())
    figures = tested.figures()
    truth, last = voyage.truth(), round(TRUTH_S / voyage.step_s)
    true = {
        "east_mps": float(np.mean(truth.current_east_mps[-last:])),
        "north_mps": float(np.mean(truth.current_north_mps[-last:])),
    }
    return {
        "craft": world.name,
        "wind_mps": world.ride.water.wind_mps,
        "components": [
            {**figure(figures, f"set_and_drift.{name}"), "true": value}
            for name, value in true.items()
        ],
    }


def _ride(voyage: Voyage, world: World, rng: np.random.Generator, variant: str) -> None:
    powers = world.most_w * rng.uniform(0.3, 0.9, 2)
    course = float(rng.uniform(0.0, 360.0))
    empty, cutoff_v = 0.05, world.stated.cutoff_v
    if variant == CIRCLE:
        power = float(powers[0])
        voyage.begin(Leg("straight", 0.0, course, power_w=power))
        ride_for(voyage, 90.0, empty, cutoff_v)
        turn_deg = float(rng.choice([-1.0, 1.0])) * float(rng.uniform(3.0, 6.0))
        for k in range(1, round(720.0 / abs(turn_deg))):
            voyage.begin(Leg("circle", 0.0, (course + turn_deg * k) % 360.0, power_w=power))
            ride_for(voyage, 1.0, empty, cutoff_v)
        voyage.begin(Leg("straight", 0.0, course, power_w=power))
        ride_for(voyage, 90.0, empty, cutoff_v)
        return
    for k in range(int(rng.integers(4, 9))):
        if variant == RECIPROCAL:
            heading = course + 180.0 * k
        elif variant == ONE:
            heading = course
        else:
            heading = course + 120.0 * k + float(rng.uniform(-25.0, 25.0))
        power = float(powers[int(rng.integers(2))])
        leg = Leg("leg", 0.0, heading % 360.0, power_w=power)
        if rng.random() < 0.4:
            leg = Leg("leg", 0.0, heading % 360.0, speed_mps=calm_speed_mps(world.name, power))
        voyage.begin(leg)
        ride_for(voyage, float(rng.uniform(120.0, 420.0)), empty, cutoff_v)


def table(rows: list[dict[str, Any]]) -> str:
    """Return errors of the known components, and coverage."""
    lines = []
    for variant in VARIANTS:
        for label, least, most in (
            (f"wind under {LITTLE_WIND_MPS:.0f} m/s", 0.0, LITTLE_WIND_MPS),
            ("more wind", LITTLE_WIND_MPS, math.inf),
        ):
            mine = [
                row for row in rows
                if row["variant"] == variant and least <= row["wind_mps"] < most
            ]  # fmt: skip
            parts = [part for row in mine for part in row["components"]]
            claimed = [part for part in parts if "value" in part]
            judged = [part for part in claimed if part.get("low") is not None]
            errors = [abs(part["value"] - part["true"]) for part in claimed]
            hits = sum(part["low"] <= part["true"] <= part["high"] for part in judged)
            widths = [(part["high"] - part["low"]) / 2.0 for part in judged]
            lines.append(
                [
                    f"{variant}, {label}",
                    str(len(mine)),
                    percent(len(claimed) / len(parts)) if parts else "-",
                    number(percentile(errors, 50), 3),
                    number(percentile(errors, 95), 3),
                    share(hits, len(judged)),
                    number(percentile(widths, 50), 3),
                ]
            )
    head = (
        "courses", "rides", "components claimed", "median error [m/s]", "95th percentile [m/s]",
        "coverage", "median half-width [m/s]",
    )  # fmt: skip
    return markdown("set and drift: against the water current of the last minute", head, lines)
