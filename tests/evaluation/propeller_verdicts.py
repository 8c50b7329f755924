"""What was said of an afternoon with propellers, beside what is true; and the table of it."""

import math
from collections.abc import Iterable
from typing import Any

import numpy as np

from onboard.contract.figure import Figure, Unknown
from onboard.efficiency.trial.results import Comparison
from tests.evaluation.propeller_days import Day
from tests.evaluation.statistics import markdown, percent, percentile, share


def said(day: Day, found: Comparison | Unknown, cautions: Iterable[str] = ()) -> dict[str, Any]:
    """Return what was said of a day, beside what is true.

    Parameters
    ----------
    day, found
        The day, and the comparison of its runs.
    cautions
        Codes of cautions besides the comparison's.
    """
    runs = len(day.runs) if day.drawn.laps else len(day.runs) // 2
    if isinstance(found, Unknown):
        return {"known": False, "runs": runs}
    costs, pairs, inside, widths = day.drawn.costs, [], [], []
    for pair in found.pairs:
        true, figure = day.true_fraction(pair.a, pair.b, found.power_w), pair.difference_fraction
        sign = {"a_better": -1, "b_better": 1, "cannot_tell": 0}[pair.verdict]
        pairs.append((sign, costs[pair.a] - costs[pair.b]))
        if isinstance(figure, Figure) and figure.low is not None and figure.high is not None:
            inside.append(figure.low <= true <= figure.high)
            widths.append((figure.high - figure.low) / 2.0)
    best = min(costs, key=lambda name: costs[name])
    has_best = list(costs.values()).count(costs[best]) == 1
    first = found.places[0].name == best
    alone = sum(place.group == 0 for place in found.places) == 1
    return {
        "known": True,
        "finite": _finite(found),
        "runs": runs,
        "claimed": sum(sign != 0 for sign, _ in pairs),
        "false": sum(sign != 0 and sign * worse <= 0.0 for sign, worse in pairs),
        "inside": sum(inside),
        "pairs": len(inside),
        "half_width": float(np.median(widths)) if widths else None,
        "best_first": first if has_best else None,
        "best_named": first and alone if has_best else None,
        "enough": found.next_runs.enough,
        "left_out": len(found.evidence.left_out),
        "cautions": sorted({*cautions, *(one.code.code for one in found.cautions)}),
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
    sane = (
        min(over_ground) * 0.8
        < float(speeds.min())
        <= float(speeds.max())
        < 1.25 * max(over_ground)
    )
    return sane and all(math.isfinite(value) for value in values)


def verdicts(title: str, by: str, days: dict[tuple[str, str], list[dict[str, Any]]]) -> str:
    """Return the table of some days, by kind and by something else."""
    head = (
        "afternoon", by, "days", "without figures", "a false claim", "coverage",
        "median half width", "best surely named", "best ranked first", "runs",
        "ended with 'enough'", "cautions",
    )  # fmt: skip
    return markdown(title, head, [[*name, *_line(some)] for name, some in days.items() if some])


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
        *(_share_of_those_with_a_best(known, key) for key in ("best_named", "best_first")),
        f"{np.mean([day['runs'] for day in days]):.1f}",
        percent(sum(day["enough"] for day in known) / max(len(known), 1), 0),
        "; ".join(frequent) or "-",
    ]


def _share_of_those_with_a_best(known: list[dict[str, Any]], key: str) -> str:
    days = [day[key] for day in known if day[key] is not None]
    return share(sum(days), len(days)) if days else "-"
