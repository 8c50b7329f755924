"""The pack: open-circuit voltage by state of charge, a resistance, and slow relaxations."""

import csv
import math
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

CURVES = Path(__file__).parent.parent / "data" / "pybamm_ocv_soc.csv"
"""Open-circuit voltage by state of charge of published cells; origin: tests/data/README.md."""

CURVE_OF = {"lfp": "Prada2013", "li-ion": "Chen2020"}

REFERENCE_DEGC = 25.0
"""Temperature at which resistances are stated."""

LOW_CHARGE = 0.3
"""Charge fraction below which resistance grows. Common practice, no source."""


class OverloadError(ValueError):
    """More power was demanded than the pack can deliver at any current."""


@dataclass(frozen=True)
class Battery:
    """A pack of cells in series."""

    chemistry: str
    cells: int
    capacity_ah: float
    resistance_ohm: float
    """Instantaneous resistance of the whole pack with its wiring."""
    slow_resistance_ohm: float = 0.0
    """Additional resistance under a lasting load ..."""
    slow_time_s: float = 30.0
    """... with this time constant."""
    slower_resistance_ohm: float = 0.0
    """The same once more, for diffusion in the cells ..."""
    slower_time_s: float = 900.0
    """... which takes this time."""
    cold_growth_per_k: float = 0.0
    """Relative growth of all resistances per kelvin below `REFERENCE_DEGC`, compounded."""
    empty_growth: float = 0.0
    """Relative growth of all resistances from `LOW_CHARGE` down to empty, as a square."""
    start_fraction: float = 1.0
    temperature_degc: float = 18.0
    heat_capacity_jpk: float = 8000.0
    cell: str | None = None
    """One of the published cells; None for the one in `CURVE_OF`."""
    shift_v: float = 0.0
    """Offset of each cell's open-circuit voltage from the published one: cells differ."""


@lru_cache(maxsize=64)
def _published(cell: str) -> tuple[float, ...]:
    with CURVES.open(newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["parameter_set"] == cell]
    return tuple(float(row["ocv_V"]) for row in rows)


@lru_cache(maxsize=64)
def ocv_table(chemistry: str, cell: str | None = None, shift_v: float = 0.0) -> tuple[float, ...]:
    """Return the cell's open-circuit voltage at state of charge 0, 0.05 ... 1 [V]."""
    table = _published(cell or CURVE_OF[chemistry])
    return tuple(volts + shift_v for volts in table) if shift_v else table


def open_circuit_v(battery: Battery, charge_fraction: float) -> float:
    """Return the pack's open-circuit voltage [V]."""
    table = ocv_table(battery.chemistry, battery.cell, battery.shift_v)
    place = min(max(charge_fraction, 0.0), 1.0) * (len(table) - 1)
    index = min(int(place), len(table) - 2)
    return battery.cells * (table[index] + (place - index) * (table[index + 1] - table[index]))


def resistance_factor(battery: Battery, charge_fraction: float, temperature_degc: float) -> float:
    """Return the factor by which all resistances have grown, in the cold and at low charge."""
    factor = 1.0
    if battery.cold_growth_per_k:
        factor = math.exp(battery.cold_growth_per_k * (REFERENCE_DEGC - temperature_degc))
    if battery.empty_growth and charge_fraction < LOW_CHARGE:
        lacking = min((LOW_CHARGE - charge_fraction) / LOW_CHARGE, 1.0)
        factor *= 1.0 + battery.empty_growth * lacking * lacking
    return factor


def load_amps_a(open_v: float, resistance_ohm: float, power_w: float) -> float:
    """Return the current at which a source behind a resistance delivers a power [A].

    The smaller root of R I^2 - V I + P = 0, in a form that loses no digits for small R.
    """
    square = open_v * open_v - 4.0 * resistance_ohm * power_w
    if square < 0.0:
        raise OverloadError(f"{power_w:.0f} W from {open_v:.1f} V behind {resistance_ohm} ohm")
    return 2.0 * power_w / (open_v + math.sqrt(square))


def rest_energy_wh(battery: Battery, charge_fraction: float) -> float:
    """Return the energy left if drawn infinitely slowly [Wh]: the area under the curve."""
    table = ocv_table(battery.chemistry, battery.cell, battery.shift_v)
    width = 1.0 / (len(table) - 1)
    full, rest = divmod(min(max(charge_fraction, 0.0), 1.0), width)
    count = min(int(full), len(table) - 1)
    area = sum(0.5 * (table[i] + table[i + 1]) * width for i in range(count))
    if rest > 0.0 and count < len(table) - 1:
        here = open_circuit_v(battery, charge_fraction) / battery.cells
        area += 0.5 * (table[count] + here) * rest
    return area * battery.cells * battery.capacity_ah
