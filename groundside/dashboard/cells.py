"""The small figures of the ride view: which there are, in which order, and how each is written."""

from collections.abc import Callable
from dataclasses import dataclass

from groundside.figures import (
    UNKNOWN,
    Reading,
    clock_text,
    consumption_text,
    one_decimal,
    reading,
    three_figures,
    whole,
)
from groundside.source import Snapshot
from groundside.units import Units


@dataclass(frozen=True)
class TableCell:
    """A small figure: its name, its text, its interval where stated, and why it is unknown."""

    label: str
    text: str
    interval: str = ""
    why: str = ""


def _cell(label: str, figure: Reading, write: Callable[[float], str], unit: str) -> TableCell:
    if figure.value is None:
        return TableCell(label, UNKNOWN, why=figure.why)
    interval = ""
    if figure.low is not None and figure.high is not None:
        interval = f"{write(figure.low)} to {write(figure.high)}"
    return TableCell(label, f"{write(figure.value)} {unit}".rstrip(), interval)


def table_cells(snapshot: Snapshot | None, units: Units) -> tuple[TableCell, ...]:
    """Give the small figures, the most wanted first; a small terminal shows the first few.

    Figures that only some crafts have come last, and only where they are known.
    """

    def consumption(value: float) -> str:
        return consumption_text(value, units)

    def distance(value_m: float) -> str:
        return three_figures(units.distance(value_m))

    def speed(value_mps: float) -> str:
        return one_decimal(units.speed(value_mps))

    per, far, fast = units.consumption_name, units.distance_name, units.speed_name

    def cell(
        label: str, path: tuple[str, ...], write: Callable[[float], str], unit: str
    ) -> TableCell:
        return _cell(label, reading(snapshot, *path), write, unit)

    always = [
        cell("power", ("power_w",), whole, "W"),
        cell("speed", ("speed_mps",), speed, fast),
        cell("left", ("battery", "left_wh"), whole, "Wh"),
        cell("trip", ("trip", "distance_m"), distance, far),
        cell("used", ("trip", "energy_wh"), whole, "Wh"),
        cell("time", ("trip", "elapsed_s"), clock_text, ""),
        cell("5 min", ("wh_per_km", "last_300_s"), consumption, per),
        cell("trip", ("wh_per_km", "trip"), consumption, per),
        cell("left", ("battery", "left_fraction"), lambda x: whole(100.0 * x), "%"),
        cell("lasts", ("time_left_s",), clock_text, ""),
        cell("pack", ("volts_v",), one_decimal, "V"),
        cell("draw", ("amps_a",), one_decimal, "A"),
    ]
    some = [
        cell("mark", ("wh_per_km", "since_mark"), consumption, per),
        cell("best at", ("best_speed_mps",), speed, fast),
        cell("motor", ("drive", "temperature_degc"), whole, "°C"),
        cell("turns", ("drive", "rpm"), whole, "rpm"),
    ]
    return (*always, *(figure for figure in some if not figure.why))


def unknown_reasons(cells: tuple[TableCell, ...]) -> tuple[str, ...]:
    """Say why figures are unknown, each reason once with the figures it holds for."""
    held: dict[str, list[str]] = {}
    for cell in cells:
        if cell.why and cell.label not in held.setdefault(cell.why, []):
            held[cell.why].append(cell.label)
    return tuple(f"{', '.join(labels)}: {why}" for why, labels in held.items())
