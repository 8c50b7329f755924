"""Afternoons with propellers as the coach ends them: what is claimed, and does it hold?

Each is an `Afternoon`, drawn by variant; its legs go straight into the comparison.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from onboard.contract.figure import Figure, Unknown
from onboard.efficiency.trial.equal_power import CurveSlope
from onboard.efficiency.trial.results import Comparison
from onboard.efficiency.trial.trial_practice import COACHED_SIGNIFICANCE, VERDICT_SIGNIFICANCE
from tests.craft.chance import generator
from tests.evaluation.coach_policy import Ahead, coached, judged
from tests.evaluation.propeller_days import Afternoon, Day, Hull, Sea, legs_of
from tests.evaluation.statistics import markdown, percent, percentile, share

EQUAL_BELOW_FRACTION = 1e-3
"""A true difference below which set-ups are equal: they were run at slightly unlike power."""

COACH, ONE_LOOK, ONE_STRICT_LOOK = "as the coach ends", "one look at 5 %", "one look, coach's level"


@dataclass(frozen=True)
class Kind:
    """A kind of afternoon.

    Parameters
    ----------
    costs
        Extra Wh/km of the set-ups; they are shuffled.
    laps
        Whether laps are ridden, else double runs.
    change
        What is not as on other days.
    order
        Indices of the set-ups in the order ridden without a coach; empty if only the coach's.
    coach
        Whether the coach's day is ridden too.
    """

    costs: tuple[float, ...]
    laps: bool = False
    change: Callable[[Afternoon, np.random.Generator], Afternoon] = lambda day, rng: day
    order: tuple[int, ...] = ()
    coach: bool = True


def _across(drift_mps: float) -> Callable[[Afternoon, np.random.Generator], Afternoon]:
    def change(day: Afternoon, rng: np.random.Generator) -> Afternoon:
        set_deg = day.course_deg + float(rng.choice([-90.0, 90.0]) + rng.uniform(-10.0, 10.0))
        return replace(day, sea=Sea(drift_mps, set_deg))

    return change


def _tide(day: Afternoon, rng: np.random.Generator) -> Afternoon:
    tide = Sea(
        tide_mps=float(rng.uniform(0.15, 0.4)),
        tide_deg=day.course_deg + float(rng.uniform(-40.0, 40.0)),
        tide_phase_rad=float(rng.uniform(0.0, 2.0 * np.pi)),
    )
    return replace(day, sea=tide)


def _gusts(day: Afternoon, rng: np.random.Generator) -> Afternoon:
    gust_mps, memory_s = float(rng.uniform(0.03, 0.1)), float(rng.uniform(20.0, 120.0))
    return replace(day, sea=replace(day.sea, gust_mps=gust_mps, gust_memory_s=memory_s))


def _step(day: Afternoon, rng: np.random.Generator) -> Afternoon:
    return replace(
        day,
        step=float(rng.uniform(-0.06, 0.06)),
        step_at_s=float(rng.uniform(0.0, 6000.0)),
        step_is_outing=bool(rng.random() < 0.5),
    )


def _step_at_swap(day: Afternoon, rng: np.random.Generator) -> Afternoon:
    return replace(day, step=float(rng.uniform(-0.06, 0.06)), step_at_s=0.0)


def _five_per_cent(day: Afternoon, rng: np.random.Generator) -> Afternoon:
    return replace(day, step=0.05 * float(rng.choice([-1.0, 1.0])), step_at_s=0.0)


def _drift(day: Afternoon, rng: np.random.Generator) -> Afternoon:
    return replace(
        day,
        drift=float(rng.choice([-1.0, 1.0]) * rng.uniform(0.01, 0.06)),
        drift_shape=float(rng.choice([0.5, 1.0, 2.0])),
    )


def _outlier(day: Afternoon, rng: np.random.Generator) -> Afternoon:
    return replace(day, outlier_run=int(rng.integers(8)), outlier=float(rng.uniform(0.85, 0.95)))


def _other_pack(day: Afternoon, rng: np.random.Generator) -> Afternoon:
    name = str(rng.choice(list(day.costs)))
    return replace(day, volts={name: 25.0 * float(rng.uniform(0.9, 1.1))})


def _quiet(sd: float) -> Callable[[Afternoon, np.random.Generator], Afternoon]:
    """Return a day whose scatter is known and whose water is steady."""

    def change(day: Afternoon, rng: np.random.Generator) -> Afternoon:
        del rng
        steady = Sea(day.sea.drift_mps, day.sea.set_deg)
        return replace(day, sd=sd, heavy=False, sea=steady)

    return change


SEVEN = (0.0,) * 7
IN_TURNS = tuple(range(7)) + tuple(reversed(range(7))) + tuple(range(7))
BEST_OF_SEVEN = (-0.06, *SEVEN[1:])
KINDS: dict[str, Kind] = {
    "two equal": Kind((0.0, 0.0)),
    "three equal": Kind((0.0,) * 3),
    "seven equal": Kind(SEVEN),
    "two equal, laps": Kind((0.0, 0.0), laps=True),
    "three equal, laps": Kind((0.0,) * 3, laps=True),
    "seven equal, laps": Kind(SEVEN, laps=True),
    "two best equal of seven": Kind((0.0, 0.0, 0.03, 0.05, 0.06, 0.08, 0.1)),
    "two best equal of seven, laps": Kind((0.0, 0.0, 0.03, 0.05, 0.06, 0.08, 0.1), laps=True),
    "0.08 m/s across": Kind((0.0, 0.0), change=_across(0.08)),
    "0.15 m/s across": Kind((0.0, 0.0), change=_across(0.15)),
    "0.3 m/s across": Kind((0.0, 0.0), change=_across(0.3)),
    "three equal, 0.3 m/s across": Kind((0.0,) * 3, change=_across(0.3)),
    "tide": Kind((0.0, 0.0), change=_tide),
    "gusts": Kind((0.0,) * 3, change=_gusts),
    "gusts, laps": Kind((0.0,) * 3, laps=True, change=_gusts),
    "a step between runs": Kind((0.0,) * 3, change=_step),
    "a step between runs, laps": Kind((0.0,) * 3, laps=True, change=_step),
    "drift": Kind((0.0,) * 3, change=_drift),
    "drift, laps": Kind((0.0,) * 3, laps=True, change=_drift),
    "one run wrong": Kind((0.0,) * 3, change=_outlier),
    "one lap wrong": Kind((0.0,) * 3, laps=True, change=_outlier),
    "another pack": Kind((0.0,) * 3, change=_other_pack),
    "A A A A B B B B, step up to 6 %": Kind(
        (0.0, 0.0), change=_step_at_swap, order=(0, 0, 0, 0, 1, 1, 1, 1), coach=False
    ),
    "A A A A B B B B, step of 5 %": Kind(
        (0.0, 0.0), change=_five_per_cent, order=(0, 0, 0, 0, 1, 1, 1, 1), coach=False
    ),
    "A A A A B B B B, no step": Kind((0.0, 0.0), order=(0, 0, 0, 0, 1, 1, 1, 1), coach=False),
    "best of seven 6 % ahead, laps of 1.5 %": Kind(
        BEST_OF_SEVEN, laps=True, change=_quiet(0.015), order=IN_TURNS
    ),
    "seven in steps of 3 %, laps of 1.5 %": Kind(
        tuple(0.03 * n for n in range(7)), laps=True, change=_quiet(0.015), order=IN_TURNS
    ),
    "two 3 % apart, double runs of 1.2 %": Kind(
        (0.0, 0.03), change=_quiet(0.012), order=(0, 1, 1, 0, 0, 1, 1, 0)
    ),
    "two 6 % apart, double runs of 1.2 %": Kind(
        (0.0, 0.06), change=_quiet(0.012), order=(0, 1, 1, 0, 0, 1, 1, 0)
    ),
}
VARIANTS = dict.fromkeys(KINDS, 1.0)


def drawn(kind: Kind, rng: np.random.Generator) -> Afternoon:
    """Draw an afternoon of a kind."""
    power_w, hotel_w = float(rng.uniform(150.0, 700.0)), float(rng.uniform(3.0, 20.0))
    hull = Hull(
        hotel_w=hotel_w,
        power_w=power_w,
        speed_mps=float(rng.uniform(1.4, 3.0)),
        wave_share=float(rng.uniform(0.0, 0.6)),
        steepness=float(rng.uniform(4.0, 6.0)),
    )
    names = [chr(ord("a") + n) for n in range(len(kind.costs))]
    costs = dict(zip(names, rng.permutation(kind.costs).tolist(), strict=True))
    least = 0.007 if kind.laps else 0.005
    day = Afternoon(
        hull,
        costs,
        laps=kind.laps,
        sd=math.exp(float(rng.uniform(math.log(least), math.log(0.03)))),
        leg_share=float(rng.uniform(0.2, 0.8)),
        heavy=bool(rng.random() < 0.25),
        sea=Sea(
            drift_mps=float(rng.uniform(0.0, 0.4)),
            set_deg=float(rng.uniform(0.0, 360.0)),
            tide_mps=float(rng.uniform(0.0, 0.1)),
            tide_deg=float(rng.uniform(0.0, 360.0)),
            tide_phase_rad=float(rng.uniform(0.0, 2.0 * np.pi)),
            gust_mps=float(rng.uniform(0.0, 0.02)),
        ),
        holds_track=bool(rng.random() < 0.5),
        course_deg=float(rng.uniform(0.0, 360.0)),
        bend_deg=3.0 * float(rng.standard_normal()),
        leg_s=float(rng.uniform(55.0, 140.0)),
        lap_m=float(rng.uniform(250.0, 800.0)),
        lap_aspect=float(rng.uniform(1.0, 4.0)),
        turn_loss=float(rng.uniform(0.02, 0.08)),
        power_off=0.02 * float(rng.standard_normal()),
        power_sd=float(rng.uniform(0.003, 0.015)),
        setup_off={name: 0.01 * float(rng.standard_normal()) for name in names},
        tilts={name: 0.1 * float(rng.standard_normal()) for name in names},
        gain=1.0 + 0.015 * float(rng.standard_normal()),
    )
    return kind.change(day, rng)


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


def said(day: Day, found: Comparison | Unknown) -> dict[str, Any]:
    """Return what was said of a day, beside what is true."""
    runs = len(day.runs) if day.drawn.laps else len(day.runs) // 2
    if isinstance(found, Unknown):
        return {"known": False, "runs": runs}
    pairs, inside, widths = [], [], []
    for pair in found.pairs:
        true, figure = day.true_fraction(pair.a, pair.b, found.power_w), pair.difference_fraction
        sign = {"a_better": -1, "b_better": 1, "cannot_tell": 0}[pair.verdict]
        pairs.append((sign, true))
        if isinstance(figure, Figure) and figure.low is not None and figure.high is not None:
            inside.append(figure.low <= true <= figure.high)
            widths.append((figure.high - figure.low) / 2.0)
    first, costs = found.places[0].name, day.drawn.costs
    alone = sum(place.group == 0 for place in found.places) == 1
    return {
        "known": True,
        "finite": _finite(found),
        "runs": runs,
        "claimed": sum(sign != 0 for sign, _ in pairs),
        "false": sum(
            sign != 0 and (abs(true) < EQUAL_BELOW_FRACTION or sign * true < 0.0)
            for sign, true in pairs
        ),
        "inside": sum(inside),
        "pairs": len(inside),
        "half_width": float(np.median(widths)) if widths else None,
        "best_first": costs[first] == min(costs.values()),
        "best_named": alone and costs[first] == min(costs.values()),
        "enough": found.next_runs.enough,
        "left_out": len(found.evidence.left_out),
        "cautions": sorted({one.code.code for one in found.cautions}),
    }


def _finite(found: Comparison) -> bool:
    """Return whether all figures are finite, and each speed is within its runs' by a fifth."""
    figures = [one.difference_fraction for one in found.pairs]
    figures += [figure for one in found.setups for figure in (one.speed_mps, one.wh_per_km)]
    figures += [place.behind_fraction for place in found.places]
    values = [place.chance_best for place in found.places]
    values += [pair.chance for pair in found.pairs if pair.chance is not None]
    values += [] if found.told_fraction is None else [found.told_fraction]
    for one in figures:
        if isinstance(one, Figure):
            values += [end for end in (one.value, one.low, one.high) if end is not None]
    over_ground = [leg.speed_mps for leg in found.evidence.legs]
    speeds = found.evidence.speed_mps
    sane = min(over_ground) * 0.8 < float(speeds.min()) <= float(speeds.max()) < 1.25 * max(over_ground)
    return sane and all(math.isfinite(value) for value in values)


def table(rows: list[dict[str, Any]]) -> str:
    """Return false claims, coverage and what was told, by kind of day and look."""
    lines = []
    for variant in KINDS:
        for look in (ONE_LOOK, ONE_STRICT_LOOK, COACH):
            days = [row["looks"][look] for row in rows if row["variant"] == variant and look in row["looks"]]
            if days:
                lines.append([variant, look, *_line(days)])
    head = (
        "afternoon", "looked at", "days", "without figures", "a false claim", "coverage",
        "median half width", "best surely named", "best ranked first", "runs", "ended with 'enough'",
        "cautions",
    )  # fmt: skip
    return markdown("afternoons with propellers", head, lines)


def _line(days: list[dict[str, Any]]) -> list[str]:
    known = [day for day in days if day["known"]]
    unsound = sum(not day["finite"] for day in known)
    shares = [day["inside"] / day["pairs"] for day in known if day["pairs"]]
    spread = 1.96 * float(np.std(shares)) / math.sqrt(max(len(shares), 1))
    codes = sorted({code for day in known for code in day["cautions"]})
    frequent = [
        f"{code} {percent(count / len(known), 0)}"
        for code in codes
        if (count := sum(code in day["cautions"] for day in known)) >= 0.05 * len(known)
    ]
    return [
        str(len(days)),
        f"{len(days) - len(known)}" + (f" ({unsound} unsound)" if unsound else ""),
        share(sum(day["false"] > 0 for day in known), len(known)),
        f"{percent(float(np.mean(shares)))} +- {percent(spread)}" if shares else "-",
        percent(percentile([day["half_width"] for day in known if day["half_width"]], 50)),
        percent(sum(day["best_named"] for day in known) / max(len(known), 1)),
        percent(sum(day["best_first"] for day in known) / max(len(known), 1)),
        f"{np.mean([day['runs'] for day in days]):.1f}",
        percent(sum(day["enough"] for day in known) / max(len(known), 1), 0),
        "; ".join(frequent) or "-",
    ]
