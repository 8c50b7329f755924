"""A plan as a table for people and as JSON for other programs."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from groundside.reports.text_layout import aligned, figure_text
from groundside.studies.plan import PlanRow, Way, best_row
from groundside.words.figures import one_decimal, percent, three_figures, whole
from groundside.words.reasons import reason_text
from groundside.words.units import Units
from onboard.contract.codec import plain
from onboard.contract.figure import Unknown
from onboard.efficiency.advice.target_speed import CONFIDENCE_FRACTION

SCHEMA = 2
ROWS_MOST = 16
FORMATS = (">15", ">10", ">9", ">20", ">7")
CAUTION = (
    "An estimate: wind, waves and cold are not in it. Keep the reserve, tell somebody ashore, and "
    "heed the local rules."
)


@dataclass(frozen=True)
class PackPlan:
    """The plan with one pack: its full energy [Wh], its charge at the start, and the rows."""

    battery_wh: float
    start_fraction: float
    rows: tuple[PlanRow, ...] | Unknown

    @property
    def arrives(self) -> bool:
        """Whether a learned speed arrives above the reserve with enough confidence."""
        if isinstance(self.rows, Unknown):
            return False
        best = best_row(self.rows)
        return best.arrive_fraction >= CONFIDENCE_FRACTION and not best.extrapolated


def as_json(plans: list[PackPlan]) -> dict[str, Any]:
    """Return the first pack's plan, and those of all packs under `packs`."""
    packs: list[dict[str, Any]] = [
        {
            "battery_wh": plan.battery_wh,
            "start_fraction": plan.start_fraction,
            "arrives": plan.arrives,
            **_rows(plan.rows),
        }
        for plan in plans
    ]
    return {"schema": SCHEMA, **_rows(plans[0].rows), "packs": packs}


def _rows(rows: tuple[PlanRow, ...] | Unknown) -> dict[str, Any]:
    if isinstance(rows, Unknown):
        return {"rows": [], "best": None, "why": {"best": plain(rows)}}
    return {"rows": [_row(row) for row in rows], "best": _row(best_row(rows))}


def _row(row: PlanRow) -> dict[str, Any]:
    energy = row.energy_wh
    return {
        "speed_mps": row.speed_mps,
        "through_water_mps": row.through_water_mps,
        "time_s": row.time_s,
        "power_w": row.power_w,
        "energy_wh": {"value": energy.value, "low": energy.low, "high": energy.high},
        "left_wh": row.left_wh,
        "arrive_fraction": row.arrive_fraction,
        "extrapolated": row.extrapolated,
    }


def as_lines(plans: list[PackPlan], way: Way, source: str, units: Units) -> Iterator[str]:
    """Yield the plan in lines.

    Parameters
    ----------
    plans
        One for each pack.
    way
        The trip.
    source
        Source of the curve, in words.
    units
        The rider's units.
    """
    length = f"{three_figures(units.distance(way.distance_m))} {units.distance_name}"
    back = " there and back" if way.there_and_back else ""
    yield f"{length}{back}, {_water(way, units)}; curve of {source}"
    if way.power_factor != 1.0:
        yield (
            f"power taken as {percent(way.power_factor - 1.0)} more for the load, by the rule that "
            "it goes with displacement to the power of 2/3; nobody has measured it"
        )
    for plan in plans:
        yield ""
        full = percent(plan.start_fraction)
        yield f"pack of {whole(plan.battery_wh)} Wh, {full} charged at the start"
        yield from _table(plan, way, units)
    yield ""
    yield CAUTION


def _water(way: Way, units: Units) -> str:
    if not way.head_current_mps:
        return "water at rest"
    speed = f"{_speed(abs(way.head_current_mps), units)} {units.speed_name}"
    return f"water {'against' if way.head_current_mps > 0 else 'with'} you on the way out, {speed}"


def _table(plan: PackPlan, way: Way, units: Units) -> Iterator[str]:
    if isinstance(plan.rows, Unknown):
        yield f"  cannot arrive: {reason_text(plan.rows, units)}"
        return
    best = best_row(plan.rows)
    yield aligned(("over ground", "in water", "time", "takes Wh", "arrive"), FORMATS, " ")
    step = max(1, -(-len(plan.rows) // ROWS_MOST))
    for number, row in enumerate(plan.rows):
        if number % step and row is not best and not row.extrapolated:
            continue
        sign = ">" if row is best else " "
        cells = (
            f"{sign} {_speed(row.speed_mps, units):>8} {units.speed_name:<4}",
            _speed(row.through_water_mps, units),
            _time(row.time_s),
            figure_text(row.energy_wh, whole),
            _chance(row.arrive_fraction),
        )
        beyond = "  beyond the speeds seen" if row.extrapolated else ""
        yield aligned(cells, FORMATS, " ") + beyond
    if plan.arrives:
        sure = percent(CONFIDENCE_FRACTION)
        yield f"  hold {_hold(best, way, units)}:"
        yield f"  the fastest that arrives with the reserve in {sure} of cases"
        return
    yield f"  it cannot be made surely: at best {_chance(best.arrive_fraction)},"
    yield f"  at {_hold(best, way, units)}"
    if best is next((row for row in plan.rows if not row.extrapolated), None):
        slowest = f"{_speed(best.through_water_mps, units)} {units.speed_name}"
        yield f"  slower may take less, but nothing was learned below {slowest} through the water"


def _hold(row: PlanRow, way: Way, units: Units) -> str:
    """Return the speed to hold through the water, and the speeds over ground each way."""
    through, over = row.through_water_mps, row.speed_mps
    watts = f"about {whole(row.power_w)} W"
    if not way.head_current_mps:
        return f"{_speed(over, units)} {units.speed_name}, {watts}"
    text = f"{_speed(through, units)} {units.speed_name} through the water, {watts}"
    if way.there_and_back:
        there, back = through - way.head_current_mps, through + way.head_current_mps
        return f"{text} (over ground {_speed(there, units)} out, {_speed(back, units)} back)"
    return f"{text} ({_speed(over, units)} over ground)"


def _speed(speed_mps: float, units: Units) -> str:
    return one_decimal(units.speed(speed_mps))


def _chance(fraction: float) -> str:
    """Return a probability in per cent, never 0 or 100.

    Examples
    --------
    >>> _chance(0.9999), _chance(0.42), _chance(0.0003)
    ('> 99 %', '42 %', '< 1 %')
    """
    if fraction > 0.99:
        return "> 99 %"
    return "< 1 %" if fraction < 0.01 else percent(fraction)


def _time(time_s: float) -> str:
    minutes = round(time_s / 60.0)
    return f"{minutes // 60}:{minutes % 60:02d} h"
