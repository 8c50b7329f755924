"""A plan as a table for people."""

from collections.abc import Iterator

from groundside.reports.plan.planned_pack import Planned, PlannedPack
from groundside.reports.text_layout import aligned, figure_text
from groundside.studies.leg import Leg
from groundside.studies.pack_supply import Packs
from groundside.studies.plan import PlanRow, best_row
from groundside.studies.trip_practice import SURE_FRACTION
from groundside.studies.way_ahead import Way
from groundside.words.figures import (
    consumption_text,
    distance_text,
    one_decimal,
    percent,
    speed_text,
    whole,
)
from groundside.words.reasons import reason_text
from groundside.words.units import Units
from onboard.contract.figure import Unknown

ROWS_MOST = 16
FORMATS = (">15", ">8", ">8", ">20", ">6", ">13", ">7")
CAUTION = (
    "An estimate: wind and cold that nobody stated are not in it. Keep the reserve, tell somebody "
    "ashore, and heed the local rules."
)


def as_lines(plan: Planned, units: Units) -> Iterator[str]:
    """Yield a plan in lines.

    Parameters
    ----------
    plan
        The plan.
    units
        The rider's units.
    """
    way = plan.way
    back = " there and back" if way.there_and_back else ""
    water = "" if len(way.legs) > 1 else f", {_around(way.legs[0], plan.is_over_ground, units)}"
    yield f"{distance_text(way.out_m, units)}{back}{water}; curve of {plan.source}"
    for leg in way.legs if len(way.legs) > 1 else ():
        around = _around(leg, plan.is_over_ground, units)
        yield f"  {distance_text(leg.distance_m, units)}, {around}"
    if plan.is_over_ground:
        yield (
            "no course ridden tells the water from the craft: speeds are over ground, and what "
            "they take is as on those courses in that water"
        )
    if way.power_factor != 1.0:
        yield (
            f"power taken as {percent(way.power_factor - 1.0)} more for the load, by the rule that "
            "it goes with displacement to the power of 2/3; nobody has measured it"
        )
    if way.states_wind:
        yield "power for the wind by a rule for craft of this size; nobody has measured it"
    for pack in plan.packs:
        yield ""
        yield _packs(pack.packs)
        yield from _table(pack, plan, units)
    yield ""
    yield CAUTION


def _packs(packs: Packs) -> str:
    each = "" if packs.count == 1 else " each"
    name = "pack" if packs.count == 1 else f"{packs.count} packs"
    charged = percent(packs.battery.start_fraction)
    cold = "" if packs.degc is None else f", at {whole(packs.degc)} °C"
    return (
        f"{name} of {whole(packs.battery.full_wh)} Wh{each}, {charged} charged at the start{cold}"
    )


def _around(leg: Leg, as_ridden: bool, units: Units) -> str:
    """Return water and wind of a leg, in words."""
    if as_ridden:
        water = "water as on the rides"
    elif not leg.head_current_mps:
        water = "water at rest"
    else:
        water = f"water {_way_out(leg.head_current_mps, units)}"
    if leg.headwind_mps is None:
        return water
    return (
        f"{water}, wind {_way_out(leg.headwind_mps, units)}"
        if leg.headwind_mps
        else f"{water}, no wind"
    )


def _way_out(head_mps: float, units: Units) -> str:
    which = "against" if head_mps > 0 else "with"
    return f"{which} you on the way out, {speed_text(abs(head_mps), units)}"


def _table(pack: PlannedPack, plan: Planned, units: Units) -> Iterator[str]:
    if isinstance(pack.rows, Unknown):
        yield f"  cannot arrive: {reason_text(pack.rows, units)}"
        return
    best = best_row(pack.rows)
    per = units.consumption_name
    head = ("over ground", "in water", "time", "takes Wh", per, "rides took", "arrive")
    yield aligned(head, FORMATS, " ")
    step = max(1, -(-len(pack.rows) // ROWS_MOST))
    for number, row in enumerate(pack.rows):
        if number % step and row is not best and not row.extrapolated:
            continue
        sign = ">" if row is best else " "
        cells = (
            f"{sign} {_speed(row.speed_mps, units):>8} {units.speed_name:<4}",
            "--" if plan.is_over_ground else _speed(row.through_water_mps, units),
            _time(row.time_s),
            figure_text(row.energy_wh, whole),
            consumption_text(row.energy_wh.value / plan.way.whole_m * 1000.0, units),
            _took(row, units),
            _chance(row.arrive_fraction),
        )
        beyond = "  beyond the speeds seen" if row.extrapolated else ""
        yield aligned(cells, FORMATS, " ") + beyond
    yield from _verdict(pack, best, plan, units)
    yield from _limits(pack, units)


def _took(row: PlanRow, units: Units) -> str:
    """Return what rides took at a row's speed: the consumption, and how long it was ridden."""
    if row.took is None:
        return "--"
    return f"{consumption_text(row.took.wh_per_km, units)}, {round(row.took.seconds_s / 60.0)} min"


def _verdict(pack: PlannedPack, best: PlanRow, plan: Planned, units: Units) -> Iterator[str]:
    assert not isinstance(pack.rows, Unknown)
    if pack.arrives:
        yield f"  hold {_hold(best, plan.way, units)}:"
        yield f"  the fastest that arrives with the reserve in {percent(SURE_FRACTION)} of cases"
        return
    yield f"  it cannot be made surely: at best {_chance(best.arrive_fraction)},"
    yield f"  at {_hold(best, plan.way, units)}"
    if best is next((row for row in pack.rows if not row.extrapolated), None):
        where = "over ground" if plan.is_over_ground else "through the water"
        slowest = speed_text(best.through_water_mps, units)
        yield f"  slower may take less, but nothing was learned below {slowest} {where}"


def _limits(pack: PlannedPack, units: Units) -> Iterator[str]:
    """Yield the least charge to leave with, and where to turn round, at that speed."""
    enough = {chance: part for chance, part in pack.leave_with.items() if part is not None}
    if enough:
        parts = [f"{percent(part)} for {percent(chance)}" for chance, part in enough.items()]
        yield f"  leave with at least {', '.join(parts)} of cases"
    elif pack.leave_with:
        yield f"  not even full does it arrive in {percent(min(pack.leave_with))} of cases"
    if pack.turn_round_m:
        parts = [
            f"{distance_text(metres, units)} for {percent(chance)}"
            for chance, metres in pack.turn_round_m.items()
        ]
        yield f"  turn round at the latest at {', '.join(parts)} of cases"


def _hold(row: PlanRow, way: Way, units: Units) -> str:
    """Return the speed to hold through the water, and the speeds over ground each way."""
    through, over = row.through_water_mps, row.speed_mps
    watts = f"about {whole(row.power_w)} W"
    currents = {leg.head_current_mps or 0.0 for leg in way.legs}
    if currents == {0.0}:
        return f"{speed_text(over, units)}, {watts}"
    text = f"{speed_text(through, units)} through the water, {watts}"
    if way.there_and_back and len(currents) == 1:
        (current_mps,) = currents
        there, back = through - current_mps, through + current_mps
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
