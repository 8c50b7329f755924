"""The small figures of the ride view: which there are, in which order, and how each is written."""

from collections.abc import Callable
from dataclasses import dataclass

from groundside.words.figures import (
    UNKNOWN,
    Reading,
    clock_text,
    consumption_text,
    one_decimal,
    three_figures,
    whole,
)
from groundside.words.readings import reading
from groundside.words.units import Units
from onboard.contract.figure import Estimate, Number, within
from onboard.contract.snapshot import Snapshot


@dataclass(frozen=True)
class SmallFigure:
    """A small figure: its name, its text, its interval where stated; whether and why unknown."""

    label: str
    text: str
    interval: str = ""
    known: bool = True
    why: str = ""


def _cell(label: str, figure: Reading, write: Callable[[float], str], unit: str) -> SmallFigure:
    if figure.value is None:
        return SmallFigure(label, UNKNOWN, known=False, why=figure.why)
    interval = ""
    if figure.low is not None and figure.high is not None:
        interval = f"{write(figure.low)} to {write(figure.high)}"
    return SmallFigure(label, f"{write(figure.value)} {unit}".rstrip(), interval)


def small_figures(snapshot: Snapshot, units: Units) -> tuple[SmallFigure, ...]:
    """Return the small figures, the most wanted first; a small terminal shows the first few.

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
        label: str, figure: Estimate | Number, write: Callable[[float], str], unit: str
    ) -> SmallFigure:
        return _cell(label, reading(figure, units), write, unit)

    trip, cost, battery, drive = (
        snapshot.trip,
        snapshot.wh_per_km,
        snapshot.battery,
        snapshot.drive,
    )
    always = [
        cell("power", snapshot.power_w, whole, "W"),
        cell("speed", snapshot.speed_mps, speed, fast),
        cell("left", within(battery, lambda it: it.left_wh), whole, "Wh"),
        cell("trip", trip.distance_m, distance, far),
        cell("used", trip.energy_wh, whole, "Wh"),
        cell("time", trip.elapsed_s, clock_text, ""),
        cell("5 min", cost.last_300_s, consumption, per),
        cell("trip", cost.trip, consumption, per),
        cell("left", within(battery, lambda it: it.left_fraction), lambda x: whole(100.0 * x), "%"),
        cell("lasts", snapshot.time_left_s, clock_text, ""),
        cell("pack", snapshot.volts_v, one_decimal, "V"),
        cell("draw", snapshot.amps_a, one_decimal, "A"),
    ]
    some = [
        cell("mark", cost.since_mark, consumption, per),
        cell("best at", snapshot.best_speed_mps, speed, fast),
        cell("motor", within(drive, lambda it: it.temperature_degc), whole, "°C"),
        cell("turns", within(drive, lambda it: it.rpm), whole, "rpm"),
    ]
    return (*always, *(figure for figure in some if figure.known))


def unknown_reasons(cells: tuple[SmallFigure, ...]) -> tuple[str, ...]:
    """Say why figures are unknown, each reason once with the figures it holds for."""
    held: dict[str, list[str]] = {}
    for cell in cells:
        if not cell.known and cell.label not in held.setdefault(cell.why, []):
            held[cell.why].append(cell.label)
    return tuple(f"{', '.join(labels)}: {why}" for why, labels in held.items())
