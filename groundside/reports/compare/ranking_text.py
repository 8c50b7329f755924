"""The ranking as a table, and what it can resolve."""

from collections.abc import Iterator, Sequence

from groundside.reports.text_layout import aligned, figure_text, short_names
from groundside.words.figures import chance_text
from groundside.words.units import Units
from onboard.contract.figure import Estimate, Figure
from onboard.efficiency.statistics.shared_errors import Z_95
from onboard.efficiency.trial.results import Comparison, Place, SetupResult

TITLE = "At {power_w:.0f} W of battery power (95 % intervals in brackets; chance of being best):"

BY_GAPS = "Set-ups without a gap between them cannot be told apart."


def ranking_lines(found: Comparison, units: Units) -> Iterator[str]:
    """Yield the table, with a gap between set-ups that are surely apart."""
    yield TITLE.format(power_w=found.power_w)
    yield ""
    names = short_names(one.name for one in found.setups)
    width = max(6, *map(len, names.values()))
    formats = (">2", f"<{width}", ">6", ">5", "<21", ">6", "")
    heading = ("", "set-up", units.consumption_name, units.speed_name, "behind the best")
    yield aligned((*heading, "chance", runs_title(found)), formats).rstrip()
    shared = places_shared(found.places)
    for number, one, place in zip(shared, found.setups, found.places, strict=True):
        if one is not found.setups[0] and found.places[number - 1] is place:
            yield ""
        cells = (
            f"{number}",
            names[one.name],
            figure_text(_alone(one.wh_per_km), lambda x: f"{units.consumption(x):.1f}"),
            figure_text(_alone(one.speed_mps), lambda x: f"{units.speed(x):.2f}"),
            behind_text(place.behind_fraction, is_first=one is found.setups[0]),
            chance_text(place.chance_best),
            runs_text(one, found),
        )
        yield aligned(cells, formats).rstrip()


def range_sentences(found: Comparison, units: Units, apart: str = BY_GAPS) -> Iterator[str]:
    """Yield what the ranking can tell, and where it holds.

    Parameters
    ----------
    found
        The comparison.
    units
        The rider's units.
    apart
        How the table shows set-ups that cannot be told apart.
    """
    if len({one.group for one in found.places}) < len(found.places):
        yield apart
    if found.told_fraction is not None:
        told, count = f"{100 * found.told_fraction:.1f} %", len(found.places)
        yield (
            f"These runs can only tell apart set-ups that differ by {told} or more."
            if count == 2
            else f"Alone, two set-ups can be told apart at {told} or more; "
            f"among {count} it takes more."
        )
    shared = 100 * Z_95 * found.shared_sd_fraction
    yield (
        f"Sensor gain may shift all {units.consumption_name} together by {shared:.0f} %; "
        "differences are unaffected."
    )
    mean_mps = float(found.evidence.speed_mps.mean())
    yield (
        f"This holds near {found.power_w:.0f} W and {units.speed(mean_mps):.1f} "
        f"{units.speed_name}, with this load and water; not in general."
    )


def places_shared(places: Sequence[Place]) -> list[int]:
    """Return the number of each place, from 1; set-ups that cannot be told apart share one.

    Examples
    --------
    >>> from dataclasses import replace
    >>> one = Place("a", 0, Figure(0.0), 0.9)
    >>> places_shared([one, one, replace(one, group=1), replace(one, group=2)])
    [1, 1, 3, 4]
    """
    groups = [one.group for one in places]
    return [groups.index(group) + 1 for group in groups]


def behind_text(behind: Estimate, *, is_first: bool) -> str:
    """Return how far a set-up is behind the best, in per cent.

    Examples
    --------
    >>> behind_text(Figure(0.031, -0.004, 0.067), is_first=False)
    '3.1 % (-0.4 to 6.7)'
    """
    if is_first:
        return "-"
    if not isinstance(behind, Figure):
        return "unknown"
    value = f"{100 * behind.value:.1f} %"
    if behind.low is None or behind.high is None:
        return value
    return f"{value} ({100 * behind.low:.1f} to {100 * behind.high:.1f})"


def runs_title(found: Comparison) -> str:
    """Return the title of the column of runs."""
    if not any(one.laps for one in found.setups):
        return "double runs"
    if not any(one.double_runs for one in found.setups):
        return "laps"
    return "d. runs + laps"


def runs_text(one: SetupResult, found: Comparison) -> str:
    """Return a set-up's number of double runs, or laps, or both."""
    has_laps, has_doubles = (
        any(getattr(setup, kind) for setup in found.setups) for kind in ("laps", "double_runs")
    )
    counts = [f"{one.double_runs}"] * has_doubles + [f"{one.laps}"] * has_laps
    return " + ".join(counts)


def _alone(figure: Estimate) -> Estimate:
    """Return a figure without its interval, most of which all set-ups share."""
    return Figure(figure.value) if isinstance(figure, Figure) else figure
