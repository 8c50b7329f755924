"""Settled seconds of a pack with a known truth."""

import csv
from functools import cache
from pathlib import Path

import numpy as np

from onboard.efficiency.battery.ocv_curve import OCV_CURVES
from onboard.efficiency.battery.pack import Pack
from onboard.efficiency.sources.settled_seconds import SettledSeconds
from onboard.profile import Battery

DATA = Path(__file__).parents[3] / "data"
AT = np.linspace(0, 1, 21)
LI_ION = Battery("li-ion", 14, 25.0, resistance_ohm=0.05)
LFP = Battery("lfp", 8, 35.0, resistance_ohm=0.02)


def fraction(pack: Pack) -> float:
    return pack.count.state.fraction(pack.count.charge_ah, pack.count.t_s)[0]


def seconds(volts, amps, begin_s=0.0, drawn_ah=0.0) -> SettledSeconds:
    volts, amps = np.broadcast_arrays(np.asarray(volts, float), np.asarray(amps, float))
    nothing = np.full(len(volts), np.nan)
    charge_ah = drawn_ah + np.cumsum(np.nan_to_num(amps)) / 3600.0
    ends = begin_s + np.arange(1.0, len(volts) + 1)
    return SettledSeconds(ends, volts * amps, amps, volts, charge_ah, *([nothing] * 8))


def rest(
    battery: Battery, fraction: float, count: int, *, begin_s=0.0, drawn_ah=0.0
) -> SettledSeconds:
    """Return seconds of a pack of the table's own cells at rest at a charge."""
    table = OCV_CURVES[battery.chemistry]
    volts = battery.cells * np.interp(fraction, table.fraction, table.ocv_v)
    return seconds(np.full(count, volts), np.full(count, 0.0), begin_s, drawn_ah)


def load(battery: Battery, amps, *, start=1.0, begin_s=0.0, drawn_ah=0.0) -> SettledSeconds:
    """Return the readings of a pack of the table's own cells under currents, per second."""
    amps = np.asarray(amps, float)
    chemistry = OCV_CURVES[battery.chemistry]
    drawn = drawn_ah + np.cumsum(amps) / 3600.0
    fraction = start - drawn / battery.capacity_ah
    open_v = battery.cells * np.interp(fraction, chemistry.fraction, chemistry.ocv_v)
    return seconds(open_v - battery.resistance_ohm * amps, amps, begin_s, drawn_ah)


def published() -> dict[str, np.ndarray]:
    """Return open-circuit voltages at `AT` of published cells; origin: tests/data/README.md."""
    return _curves("pybamm_ocv_soc.csv")


def further() -> dict[str, np.ndarray]:
    """Return the same of Li-ion cells that the table was not made of."""
    return _curves("pybamm_ocv_further.csv")


@cache
def _curves(name: str) -> dict[str, np.ndarray]:
    sets: dict[str, list[float]] = {}
    with (DATA / name).open(newline="") as file:
        for row in csv.DictReader(file):
            sets.setdefault(row["parameter_set"], []).append(float(row["ocv_V"]))
    return {name: np.array(volts) for name, volts in sets.items()}


def discharge(name: str, c_rate: float) -> dict[str, float]:
    """Return a simulated discharge of a published cell; origin: tests/data/README.md."""
    with (DATA / "pybamm_discharge_summary.csv").open(newline="") as file:
        for row in csv.DictReader(file):
            if row["parameter_set"] == name and float(row["c_rate"]) == c_rate:
                return {key: float(row[key]) for key in row if key != "parameter_set"}
    raise KeyError(name)


def charge_and_sd(pack: Pack, charge_ah: float, t_s: float) -> tuple[float, float]:
    fraction, gradient = pack.count.state.fraction(charge_ah, t_s)
    return fraction, float(np.sqrt(gradient @ pack.count.state.covariance @ gradient))
