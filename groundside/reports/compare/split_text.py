"""Where the power of each set-up goes, as text."""

from collections.abc import Iterator

from groundside.reports.compare.power_splits import PairSplit, SetupSplit
from groundside.reports.text_layout import aligned, hanging, short_names


def split_lines(
    splits: list[SetupSplit], pairs: list[PairSplit], sure: set[tuple[str, str]]
) -> Iterator[str]:
    """Yield the table of the splits, and a sentence for each pair.

    Parameters
    ----------
    splits, pairs
        Of the set-ups, and of every two of them.
    sure
        The pairs with a verdict.
    """
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
        yield from hanging(split_sentence(pair, sure=(pair.a, pair.b) in sure))


def split_sentence(pair: PairSplit, *, sure: bool) -> str:
    """Return what makes the difference between two set-ups."""
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
