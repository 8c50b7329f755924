"""A trial as text: ranking, verdicts, cautions, causes, next step and evidence."""

from collections.abc import Iterator

from groundside.reports.compare.evidence_text import evidence_lines
from groundside.reports.compare.power_splits import PairSplit, SetupSplit
from groundside.reports.text_layout import aligned, figure_text, hanging, short_names
from groundside.words.reasons import reason_text
from groundside.words.remarks import caution_text, remark_text
from groundside.words.units import Units
from onboard.contract.figure import Figure
from onboard.contract.remarks import CautionCode
from onboard.efficiency.trial.results import Comparison, PairResult
from onboard.efficiency.trial.trial import Trial
from onboard.efficiency.trial.trial_practice import WANTED_FRACTION

REPEAT_FOR = frozenset(
    {
        CautionCode.ORDER_CONFOUNDED,
        CautionCode.TOO_FEW_DOUBLE_RUNS,
        CautionCode.POWER_NOT_HELD,
    }
)
"""Cautions that call for the runs to be repeated."""

WANTED = f"{100 * WANTED_FRACTION:.0f} %"


def as_lines(
    trial: Trial, splits: list[SetupSplit], pairs: list[PairSplit], units: Units
) -> Iterator[str]:
    """Yield all lines of a trial."""
    found = trial.comparison
    yield from _ranking(found, units)
    yield ""
    for pair in found.pairs:
        yield from hanging(pair_sentence(pair, units))
    yield ""
    mean_mps = float(found.evidence.speed_mps.mean())
    yield from hanging(
        f"This holds at about {found.power_w:.0f} W and {units.speed(mean_mps):.1f} "
        f"{units.speed_name}, with the load and the water of these runs; not in general."
    )
    for caution in trial.cautions:
        yield ""
        yield from hanging(f"Caution: {caution_text(caution, units)}")
    if trial.passed_over:
        yield ""
    for remark in trial.passed_over:
        yield from hanging(f"Passed over: {remark_text(remark, units)}.")
    if splits:
        yield ""
        sure = {(one.a, one.b) for one in found.pairs if one.verdict != "cannot_tell"}
        yield from _why(splits, pairs, sure)
    yield ""
    yield from hanging(_next(found, {one.code for one in trial.cautions}))
    yield ""
    yield from evidence_lines(found, units)


def pair_sentence(pair: PairResult, units: Units) -> str:
    """Return how much two set-ups differ, or that they cannot be distinguished.

    Examples
    --------
    >>> from groundside.words.units import DEFAULT
    >>> pair = PairResult("A", "B", Figure(-0.07, -0.1, -0.04), "a_better", None, 0.0, 6.0)
    >>> pair_sentence(pair, DEFAULT)
    'A uses 7.0 % less than B (4.0 to 10.0 %).'
    """
    figure = pair.difference_fraction
    if pair.verdict == "cannot_tell" or not isinstance(figure, Figure):
        return _cannot_tell(pair, units)
    better, worse = (pair.a, pair.b) if pair.verdict == "a_better" else (pair.b, pair.a)
    if pair.verdict == "b_better":
        figure = _turned(figure)
    low, high = figure.low or 0.0, figure.high or 0.0
    return (
        f"{better} uses {-100 * figure.value:.1f} % less than {worse} "
        f"({-100 * high:.1f} to {-100 * low:.1f} %)."
    )


def _turned(figure: Figure) -> Figure:
    """Convert the difference of a relative to b into that of b relative to a."""
    value, low, high = (
        1.0 / (1.0 + (one or 0.0)) - 1.0 for one in (figure.value, figure.high, figure.low)
    )
    return Figure(value, low, high)


def _cannot_tell(pair: PairResult, units: Units) -> str:
    figure = pair.difference_fraction
    head = f"{pair.a} and {pair.b} cannot be told apart"
    if not isinstance(figure, Figure):
        return f"{head}: {reason_text(figure, units)}."
    reasons = [] if pair.why_not is None else [reason_text(pair.why_not, units)]
    if pair.double_runs_needed:
        reasons.append(f"about {pair.double_runs_needed} more double runs would tell {WANTED}")
    elif pair.double_runs_needed == 0:
        reasons.append(
            f"enough was run to find {WANTED}, so if they differ it is by less"
            if max(-(figure.low or 0.0), figure.high or 0.0) <= WANTED_FRACTION
            else f"enough was run to find {WANTED} most times, but as much is not ruled out"
        )
    why = f": {'; '.join(reasons)}" if reasons else ""
    return f"{head}{why} ({pair.a} uses {_between(figure)} than {pair.b})."


def _between(figure: Figure) -> str:
    low, high = 100 * (figure.low or 0.0), 100 * (figure.high or 0.0)
    if high <= 0.0:
        return f"{-high:.1f} to {-low:.1f} % less"
    if low >= 0.0:
        return f"{low:.1f} to {high:.1f} % more"
    return f"{-low:.1f} % less to {high:.1f} % more"


def _ranking(found: Comparison, units: Units) -> Iterator[str]:
    yield f"At {found.power_w:.0f} W of battery power (95 % intervals in brackets):"
    yield ""
    names = short_names(one.name for one in found.setups)
    width = max(6, *map(len, names.values()))
    formats = (f"{width + 3}", "22", "22", "")
    titles = ("   set-up", units.consumption_name, units.speed_name, "double runs")
    yield aligned(titles, formats)
    for number, one in enumerate(found.setups, 1):
        cost = figure_text(one.wh_per_km, lambda x: f"{units.consumption(x):.1f}", "unknown")
        speed = figure_text(one.speed_mps, lambda x: f"{units.speed(x):.2f}", "unknown")
        cells = (f"{number:2} {names[one.name]}", cost, speed, str(one.double_runs))
        yield aligned(cells, formats)


def _why(
    splits: list[SetupSplit], pairs: list[PairSplit], sure: set[tuple[str, str]]
) -> Iterator[str]:
    yield "Where the battery's power goes, at the power run:"
    names = short_names(one.name for one in splits)
    width = max(6, *map(len, names.values()))
    formats = (f"{width + 2}", *(">9",) * 5, ">6", "")
    titles = ("battery", "drive", "winding", "no load", "shaft", "rpm", "   m/turn")
    yield aligned(("  set-up", *titles), formats, "")
    for one in splits:
        parts = one.split
        watts = (parts.battery_w, parts.drive_w, parts.copper_w, parts.no_load_w, parts.shaft_w)
        cells = [f"  {names[one.name]}", *(f"{round(value)} W" for value in watts)]
        cells += [f"{one.propeller_rpm:.0f}", f"   {one.metres_per_turn_m:.3f}"]
        yield aligned(cells, formats, "")
    yield from hanging(
        "  Drive: lost in it and its cables, or taken by the rest of the craft. Turns are the "
        "propeller's; m/turn is the way made through the water with each."
    )
    if not all(one.split.measured for one in splits):
        yield from hanging(
            "  The drive does not report its motor's current: it is derived, with 4 % lost in the "
            "drive."
        )
    for pair in pairs:
        yield from hanging(_split_sentence(pair, sure=(pair.a, pair.b) in sure))


def _split_sentence(pair: PairSplit, *, sure: bool) -> str:
    motor, rest = 100 * pair.by_motor_fraction, 100 * pair.by_propeller_fraction
    if not sure:
        return (
            f"{pair.a} against {pair.b}: motor and drive make {motor:+.1f} % of Wh/km; what "
            "propeller and hull make cannot be told, as the whole cannot."
        )
    text = (
        f"{pair.a} against {pair.b}: propeller and hull make {rest:+.1f} % of Wh/km, motor and "
        f"drive {motor:+.1f} %."
    )
    if rest * motor < 0 and abs(motor) >= 0.2 * abs(rest):
        gains, loses = ("water", "motor") if rest < 0 else ("motor", "water")
        gain, loss = sorted((rest, motor))
        share = "more than" if loss > -gain else "most of" if loss > -gain / 2 else "part of"
        text += f" In the {loses} {pair.a} loses {share} what it gains in the {gains}."
    return text


def _next(found: Comparison, codes: set[CautionCode]) -> str:
    needed = max((pair.double_runs_needed or 0 for pair in found.pairs), default=0)
    names = [one.name for one in found.setups]
    order = ", ".join([*names, *reversed(names)])
    held = " of battery power, held in every run" if CautionCode.POWER_NOT_HELD in codes else ""
    at = f"at {found.power_w:.0f} W{held}"
    if needed and len(names) > 2:
        each = (needed + 1) // 2
        return f"Next: about {each} more double runs of each set-up {at}, by turns: {order}."
    if needed:
        return f"Next: {needed} more double runs {at}, by turns: {order}."
    if codes & REPEAT_FOR:
        return f"Next: again {at}, there and back each, by turns: {order}."
    if all(pair.verdict == "cannot_tell" for pair in found.pairs):
        return (
            "Next: as far as these runs tell, take whichever suits you otherwise; at another power "
            "they may differ."
        )
    return "Next: if you ride at another power too, compare there: the ranking may change with it."
