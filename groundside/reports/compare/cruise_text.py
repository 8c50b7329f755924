"""The set-ups at a cruising speed, as a table."""

from collections.abc import Iterator

from groundside.reports.compare.cruise_range import CruiseRange
from groundside.reports.compare.ranking_text import behind_text
from groundside.reports.text_layout import aligned, figure_text, hanging, short_names
from groundside.words.figures import speed_text, three_figures
from groundside.words.reasons import reason_text
from groundside.words.units import Units
from onboard.contract.figure import Estimate, Figure, Unknown
from onboard.contract.reasons import Reason

WIDE_SD = 0.05
"""Relative standard deviation from which runs at the cruising speed are worth their while."""


def cruise_lines(found: CruiseRange, units: Units) -> Iterator[str]:
    """Yield the table, and what it rests on."""
    cruise = found.cruise
    yield cruise_title(found, units)
    yield ""
    names = short_names(one.name for one in cruise.setups)
    width = max(6, *map(len, names.values()))
    has_pack = has_range(found)
    second = f"range, {units.distance_name}" if has_pack else "95 % interval"
    formats = (">2", f"<{width}", ">6", "<19", "<21", "")
    heading = ("", "set-up", units.consumption_name, second, "behind the first", "by")
    yield aligned(heading, formats).rstrip()
    for n, (one, range_m) in enumerate(zip(cruise.setups, found.range_m, strict=True)):
        cost = one.wh_per_km
        if isinstance(cost, Unknown):
            text = f"unknown: {reason_text(cost, units)}"
            yield aligned(("", names[one.name], text), formats[:3])
            continue
        cells = (
            "",
            names[one.name],
            f"{units.consumption(cost.value):.1f}",
            _range(range_m, units) if has_pack else _interval(cost, units),
            behind_text(one.behind_fraction, is_first=n == 0),
            "curve" if one.by_own_curve else "slope",
        )
        yield aligned(cells, formats).rstrip()
    for sentence in cruise_sentences(found):
        yield from hanging(sentence)


def cruise_title(found: CruiseRange, units: Units) -> str:
    """Return the title of the table."""
    speed = speed_text(found.cruise.speed_mps, units)
    return f"At {speed}: equal power is the fair test, this is what it brings."


def cruise_sentences(found: CruiseRange) -> Iterator[str]:
    """Yield what is missing, and what to do for less doubt."""
    if not has_range(found):
        yield "Range unknown: no [battery] in the craft profile."
    for one in found.cruise.setups:
        if isinstance(one.wh_per_km, Figure) and one.sd_fraction > WIDE_SD:
            power_w = one.wh_per_km.value * 3.6 * found.cruise.speed_mps
            yield (
                "So far from the power of these runs it is uncertain: runs at about "
                f"{power_w:.0f} W would tell it at that speed."
            )
            return


def has_range(found: CruiseRange) -> bool:
    """Return whether the pack is known."""
    return all(one != Unknown(Reason.NO_BATTERY) for one in found.range_m)


def _range(range_m: Estimate, units: Units) -> str:
    return figure_text(range_m, lambda x: three_figures(units.distance(x)), "unknown")


def _interval(cost: Estimate, units: Units) -> str:
    text = figure_text(cost, lambda x: f"{units.consumption(x):.1f}", "unknown")
    return text.partition("(")[2].removesuffix(")")
