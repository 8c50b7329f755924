"""Afternoons with propellers as the coach ends them: what is claimed, and does it hold?

Each is an `Afternoon`, drawn by kind; its legs go straight into the comparison.
"""

from typing import Any

from onboard.contract.figure import Unknown
from onboard.efficiency.trial.equal_power import CurveSlope
from onboard.efficiency.trial.results import Comparison
from onboard.efficiency.trial.trial_practice import COACHED_SIGNIFICANCE, VERDICT_SIGNIFICANCE
from tests.craft.chance import generator
from tests.evaluation.coach_policy import Ahead, coached, judged
from tests.evaluation.propeller_days import Day, legs_of
from tests.evaluation.propeller_kinds import KINDS, drawn
from tests.evaluation.propeller_verdicts import said, verdicts

COACH, ONE_LOOK, ONE_STRICT_LOOK = "as the coach ends", "one look at 5 %", "one look, coach's level"

SLOW = {
    "seven equal",
    "seven equal, laps",
    "two best equal of seven",
    "two best equal of seven, laps",
}
VARIANTS = {kind: 0.5 if kind in SLOW else 1.0 for kind in KINDS}


def ride(seed: int, craft: str | None, variant: str) -> dict[str, Any]:
    """Ride an afternoon, coached and not, and return what was claimed."""
    del craft
    kind = KINDS[variant]
    afternoon = drawn(kind, generator(seed, "afternoon"))
    looks: dict[str, dict[str, Any]] = {}
    if kind.order:
        day = Day(afternoon, generator(seed, "runs in a fixed order"))
        names, slope = list(afternoon.costs), _slope_known(day, seed)
        for n in kind.order:
            day.ride(names[n])
        levels = {ONE_LOOK: VERDICT_SIGNIFICANCE, ONE_STRICT_LOOK: COACHED_SIGNIFICANCE}
        for look, level in levels.items():
            looks[look] = said(day, judged(legs_of(day), slope, level))
    if kind.coach:
        day = Day(afternoon, generator(seed, "coached runs"))
        looks[COACH] = said(day, ridden_with_coach(day, _slope_known(day, seed)))
    return {"looks": looks}


def ridden_with_coach(day: Day, slope: CurveSlope) -> Comparison | Unknown:
    """Ride a day as its comparison asks; return the last comparison."""
    found: list[Comparison | Unknown] = []

    def ride(name: str) -> Ahead:
        day.ride(name)
        found.append(judged(legs_of(day), slope, COACHED_SIGNIFICANCE))
        if isinstance(found[-1], Unknown):
            return Ahead()
        asked = found[-1].next_runs
        return Ahead(asked.enough, asked.order, asked.drop)

    coached(list(day.drawn.costs), ride)
    return found[-1]


def _slope_known(day: Day, seed: int) -> CurveSlope:
    """Return what is known of the slope: what is usual, or the craft's own curve."""
    rng = generator(seed, "slope")
    if rng.random() < 0.5:
        return CurveSlope(0.28, 0.08, learned=False)
    true = next(iter(day.setups.values())).slope(day.drawn.hull.power_w)
    return CurveSlope(true + 0.03 * float(rng.standard_normal()), 0.03, learned=True)


def table(rows: list[dict[str, Any]]) -> str:
    """Return false claims, coverage and what was told, by kind of day and look."""
    looks = ONE_LOOK, ONE_STRICT_LOOK, COACH
    named = [(kind, look) for kind in KINDS for look in looks]
    days = {
        name: [
            row["looks"][name[1]]
            for row in rows
            if row["variant"] == name[0] and name[1] in row["looks"]
        ]
        for name in named
    }
    return verdicts("afternoons with propellers", "looked at", days)
