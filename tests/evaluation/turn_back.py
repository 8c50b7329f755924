"""Follow 'turn back' in random water currents and winds, with and without an earlier curve."""

from typing import Any

from tests.craft.chance import generator
from tests.evaluation.days import cold, following, nearly_empty, rising_headwind
from tests.evaluation.hopeless import is_hopeless
from tests.evaluation.out_and_home import trip
from tests.evaluation.pilots import ByEngine, earlier_curve
from tests.evaluation.rides import drawn_leg
from tests.evaluation.statistics import markdown, percent, percentile, share
from tests.evaluation.world import draw

PLAIN, FOLLOWING, COLD = "plain", "current following outward", "cold"
HEADWIND = "rising headwind"
WITHOUT, EMPTY = "without a curve", "nearly empty, without a curve"
DAYS = {
    FOLLOWING: following,
    COLD: cold,
    HEADWIND: rising_headwind,
    EMPTY: nearly_empty,
}
VARIANTS = {PLAIN: 1.0, FOLLOWING: 1.0, COLD: 1.0, HEADWIND: 1.0, WITHOUT: 0.3, EMPTY: 0.3}

BELOW = 0.0
"""Surplus above the reserve, as a fraction of the full pack, below which the reserve was used."""


def ride(seed: int, craft: str | None, variant: str) -> dict[str, Any]:
    """Ride out and home, following the engine."""
    world = draw(seed, craft)
    kept = None if variant in {WITHOUT, EMPTY} else earlier_curve(world)
    leg = drawn_leg(world, generator(seed, "rider"), least=0.35)
    if variant in DAYS:
        world = DAYS[variant](world, leg)
    made = trip(world, leg, ByEngine(world.stated, kept))
    failed = made.get("stranded", False) or made.get("surplus", BELOW) < BELOW
    made["hopeless"] = variant == HEADWIND and failed and is_hopeless(world, leg)
    return made


def table(rows: list[dict[str, Any]]) -> str:
    """Return the table of the energy left at home."""
    lines = []
    for variant in VARIANTS:
        mine = [row for row in rows if row["variant"] == variant]
        apart = [row for row in mine if row["hopeless"]]
        done = [row for row in mine if "surplus" in row and not row["hopeless"]]
        home = [row["surplus"] for row in done if not row["stranded"] and not row["late"]]
        lines.append(
            [
                variant,
                str(len(mine)),
                str(len(mine) - len(done) - len(apart)),
                str(len(apart)),
                str(sum(row["stranded"] for row in done)),
                str(sum(row["late"] for row in done)),
                share(sum(surplus < BELOW for surplus in home), len(home)),
                percent(percentile(home, 1)),
                percent(percentile(home, 50)),
                percent(percentile(home, 95)),
            ]
        )
    head = (
        "trips", "number", "no advice", "hopeless", "stranded", "not home in time",
        "home below the reserve", "surplus, 1st percentile", "median", "95th percentile",
    )  # fmt: skip
    return markdown("turn back: energy at home beyond the reserve, of the full pack", head, lines)
