"""Rides along one line, where water and craft are hard to tell apart: does the curve's band hold?

Of a curve through water the truth is the craft in calm water; of one over ground, what each leg of
the ride took at its speed. The water is at rest in half of the rides.
"""

from dataclasses import replace
from typing import Any

import numpy as np

from onboard.contract.figure import Unknown
from onboard.contract.snapshot import Curve
from tests.craft.chance import Array, generator
from tests.craft.rider import Leg
from tests.craft.voyage import Voyage
from tests.evaluation.rides import ride_for, start
from tests.evaluation.stated_engine import engine
from tests.evaluation.statistics import markdown, number, share
from tests.evaluation.world import World, calm_curve, calm_speed_mps, draw

ONE_WAY, FRO, LIKE = "one way", "to and fro at unlike powers", "to and fro at like powers"
VARIANTS = {ONE_WAY: 0.4, FRO: 0.4, LIKE: 0.2}
SETTLE_S = 30.0
"""Time after which a leg is steady [s]."""

SLOWEST_MPS = 0.5


def ride(seed: int, craft: str | None, variant: str) -> dict[str, Any]:
    """Ride legs along one line, and judge the curve that is shown."""
    world = draw(seed, craft)
    rng = generator(seed, "one line")
    if rng.random() < 0.5:
        still = replace(world.ride.water, drift_mps=0.0, drift_sd_mps=0.0)
        world = replace(world, ride=replace(world.ride, water=still))
    voyage, telemetry = start(world)
    legs = _ride(voyage, world, rng, variant)
    tested = engine(world.stated)
    tested.fold(telemetry.block())
    shown = tested.curve()
    if isinstance(shown, Unknown):
        return {"craft": world.name, "why": shown.code.code}
    speeds, powers = _truth(world, voyage, legs, shown)
    low, high = (np.interp(speeds, shown.speed_mps, ends) for ends in (shown.low_w, shown.high_w))
    return {
        "craft": world.name,
        "kind": shown.speed_kind,
        "held": [bool(held) for held in (low <= powers) & (powers <= high)],
        "half_width": float(np.median(np.log(high / low) / 2.0)) if len(speeds) else None,
    }


def _ride(
    voyage: Voyage, world: World, rng: np.random.Generator, variant: str
) -> list[tuple[int, int]]:
    """Ride; return the first and the last step of each leg."""
    course = float(rng.uniform(0.0, 360.0))
    shares = rng.uniform(0.08, 0.95, int(rng.integers(2, 6))).tolist()
    ways = [1.0 if variant == ONE_WAY else (-1.0) ** n for n in range(len(shares))]
    if variant == LIKE:
        shares, ways = [part for part in shares for _ in (1, 2)], [1.0, -1.0] * len(shares)
    holds_speed, seconds_s = bool(rng.random() < 0.5), float(rng.uniform(120.0, 400.0))
    legs = []
    for part, way in zip(shares, ways, strict=True):
        power_w, heading = part * world.most_w, (course + 90.0 - 90.0 * way) % 360.0
        leg = Leg("leg", 0.0, heading, power_w=power_w, ramp_s=5.0)
        if holds_speed:
            speed_mps = calm_speed_mps(world.name, power_w + world.craft.hotel_w)
            leg = Leg("leg", 0.0, heading, speed_mps=speed_mps, ramp_s=5.0)
        first = voyage.index
        voyage.begin(leg)
        ended = ride_for(voyage, seconds_s, 0.03, world.stated.cutoff_v)
        legs.append((first + round(SETTLE_S / voyage.step_s), voyage.index))
        if ended:
            break
    return legs


def _truth(
    world: World, voyage: Voyage, legs: list[tuple[int, int]], shown: Curve
) -> tuple[Array, Array]:
    """Return speeds at which the curve is judged, and the true powers there."""
    if shown.speed_kind == "through_water":
        speeds = np.array([speed for speed in shown.speed_mps if speed > SLOWEST_MPS])
        return speeds, np.interp(speeds, *calm_curve(world.name))
    columns = voyage.columns()
    ridden = [_means(columns, first, last) for first, last in legs if last - first > 500]
    inside = [
        (speed, power)
        for speed, power in ridden
        if shown.speed_mps[0] <= speed <= shown.speed_mps[-1]
    ]
    speeds, powers = np.array(inside).reshape(-1, 2).T
    return speeds, powers


def _means(columns: dict[str, Array], first: int, last: int) -> tuple[float, float]:
    """Return mean speed over ground and mean power of steps."""
    part = slice(first, last)
    east, north = float(columns["east_mps"][part].mean()), float(columns["north_mps"][part].mean())
    power = columns["volts_v"][part] * columns["amps_a"][part]
    return float(np.hypot(east, north)), float(power.mean())


def table(rows: list[dict[str, Any]]) -> str:
    """Return coverage and width by kind of ride and of curve."""
    lines = []
    for variant in VARIANTS:
        for kind in ("over_ground", "through_water"):
            mine = [row for row in rows if row["variant"] == variant and row.get("kind") == kind]
            held = [one for row in mine for one in row["held"]]
            widths = [row["half_width"] for row in mine if row["half_width"] is not None]
            lines.append(
                [
                    variant,
                    kind.replace("_", " "),
                    str(len(mine)),
                    share(sum(held), len(held)),
                    number(float(np.median(widths)) if widths else float("nan")),
                ]
            )
    head = ("line ridden", "curve shown", "rides", "coverage of power", "median half width of ln P")
    return markdown("rides along one line", head, lines)
