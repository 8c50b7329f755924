"""Five hard rides, by the engine and by Wh left over mean Wh/km, each with several seeds.

A cold or mislabelled pack has an eighth to a seventh less capacity than stated. The owner, who
knows that it is winter or that the label is old, states the capacity to 8 % instead of 3 %.
"""

from dataclasses import replace
from typing import Any

from tests.craft.crafts import CRAFTS, cold_and_weak
from tests.craft.rider import Leg
from tests.evaluation.out_and_home import trip
from tests.evaluation.pilots import ByEngine, ByRatio, Pilot, earlier_curve
from tests.evaluation.statistics import markdown, percent, percentile
from tests.evaluation.world import World, draw

RIDES = (
    "following current outward", "rising headwind", "cold pack", "wrong capacity",
    "no earlier curve",
)  # fmt: skip
PILOTS = ("engine", "ratio")
VARIANTS = {f"{name}, {pilot}": 1.0 for name in RIDES for pilot in PILOTS}
OUT_DEG = 60.0
CRAFT = "skiff"
LOOSE_SD = 0.08


def ride(seed: int, craft: str | None, variant: str) -> dict[str, Any]:
    """Ride one of the five with one of the pilots."""
    name, _, pilot = variant.rpartition(", ")
    world = hard(draw(seed, craft or CRAFT), name)
    share = 0.25 if name == "no earlier curve" else 0.5
    leg = Leg("out", 0.0, OUT_DEG, power_w=share * world.most_w)
    chosen: Pilot = ByRatio(world.stated)
    if pilot == "engine":
        kept = None if name == "no earlier curve" else earlier_curve(world)
        chosen = ByEngine(world.stated, kept)
    return trip(world, leg, chosen)


def hard(world: World, name: str) -> World:
    """Return a drawn world changed into one of the five."""
    craft = world.craft
    still = replace(world.ride.water, drift_mps=0.05, wind_mps=1.0, gust_sd_mps=0.25)
    water, stated = still, world.stated
    if name == "following current outward":
        water = replace(still, set_deg=OUT_DEG, drift_mps=0.55)
    elif name == "rising headwind":
        # It blows from the start of the ride, so against the way home.
        water = replace(
            still, wind_from_deg=OUT_DEG + 180.0, wind_rise_mps2=9.0 / 3600.0, gust_sd_mps=1.0
        )
    elif name == "cold pack":
        nominal = CRAFTS[world.name].battery
        larger = nominal.capacity_ah / stated.capacity_ah
        warm = replace(
            craft.battery,
            capacity_ah=stated.capacity_ah,
            resistance_ohm=nominal.resistance_ohm * larger,
            slow_resistance_ohm=nominal.slow_resistance_ohm * larger,
        )
        craft = replace(craft, battery=cold_and_weak(warm))
        stated = replace(stated, capacity_sd=LOOSE_SD, resistance_ohm=None)
    elif name == "wrong capacity":
        craft = replace(
            craft, battery=replace(craft.battery, capacity_ah=stated.capacity_ah / 1.17)
        )
        stated = replace(stated, capacity_sd=LOOSE_SD)
    else:
        # Outward against the current, so that consumption there says little about the way home.
        water = replace(still, set_deg=OUT_DEG + 180.0, drift_mps=0.8)
    return replace(world, ride=replace(world.ride, craft=craft, water=water), stated=stated)


def table(rows: list[dict[str, Any]]) -> str:
    """Return the outcome of each ride."""
    lines = []
    for variant in VARIANTS:
        mine = [row for row in rows if row["variant"] == variant]
        done = [row for row in mine if "surplus" in row]
        left = [row["surplus"] for row in done]
        lines.append(
            [
                variant,
                f"{len(done)} of {len(mine)}",
                str(sum(row["stranded"] for row in done)),
                str(sum(row["surplus"] < 0.0 for row in done)),
                percent(min(left, default=float("nan"))),
                percent(percentile(left, 50)),
                percent(max(left, default=float("nan"))),
            ]
        )
    head = (
        "ride, pilot", "trips", "stranded", "below the reserve", "surplus, least", "median", "most"
    )  # fmt: skip
    return markdown("five rides: surplus beyond the reserve, of the full pack", head, lines)
