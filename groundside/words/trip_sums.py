"""The sums of a trip in words, for plain lines and reports."""

from collections.abc import Callable

from groundside.words.figures import (
    clock_text,
    figure_text,
    interval_text,
    one_decimal,
    percent,
    three_figures,
    whole,
)
from groundside.words.readings import reading
from groundside.words.units import Units
from onboard.contract.figure import Estimate, Number
from onboard.contract.snapshot import Trip


def trip_rows(trip: Trip, units: Units) -> list[tuple[str, str, str]]:
    """Return the trip's sums, each as a name, a value with its unit, and an interval.

    Parameters
    ----------
    trip
        The trip's sums.
    units
        The rider's units.
    """

    def row(
        name: str, figure: Estimate | Number, write: Callable[[float], str], unit: str = ""
    ) -> tuple[str, str, str]:
        known = reading(figure, units)
        return name, figure_text(known, write, unit), interval_text(known, write)

    def distance(value_m: float) -> str:
        return three_figures(units.distance(value_m))

    def speed(value_mps: float) -> str:
        return one_decimal(units.speed(value_mps))

    def consumption(value: float) -> str:
        return three_figures(units.consumption(value))

    return [
        row("time", trip.elapsed_s, clock_text),
        row("moving", trip.moving_s, clock_text),
        row("distance", trip.distance_m, distance, units.distance_name),
        row("energy", trip.energy_wh, three_figures, "Wh"),
        row("charge used", trip.charge_ah, three_figures, "Ah"),
        row("consumption", trip.wh_per_km, consumption, units.consumption_name),
        row("mean power", trip.mean_power_w, whole, "W"),
        row("mean speed", trip.mean_speed_mps, speed, units.speed_name),
        row("top speed", trip.max_speed_mps, speed, units.speed_name),
        row("energy bridged over gaps", trip.bridged_energy_fraction, percent),
        row("distance bridged over gaps", trip.bridged_distance_fraction, percent),
    ]


def trip_summary_lines(trip: Trip, units: Units) -> list[str]:
    """Return the trip's sums, a line per figure with its interval; see `trip_rows`."""
    return [
        f"{name:<26} {text}" + (f" ({interval})" if interval else "")
        for name, text, interval in trip_rows(trip, units)
    ]
