"""A pack over several rides, without a craft: its truth, and what its sensors read.

Imports nothing of the engine. Cells are published ones, of the engine's table and others (Li-ion),
or the one published curve with its level and its lower knee drawn (LFP). The voltage has two time
constants; the resistance falls with temperature and rises towards empty. Charges end at 'full' to
half a per cent.
"""

import csv
import math
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from scipy.signal import lfilter

from tests.craft.chance import Array

DATA = Path(__file__).parent.parent / "data"
CELLS = {
    "li-ion": (
        "Chen2020", "Mohtat2020", "Ai2020", "Ecker2015", "NCA_Kim2011", "Ramadass2004",
    ),
    "lfp": ("Prada2013",),
}  # fmt: skip
SERIES = {"li-ion": 14, "lfp": 16}
GRID = np.linspace(0.0, 1.0, 401)

FULL_SD, METER_SD, BACK_MOST = 0.005, 0.01, 0.01
"""How alike 'full' is from one charge to the next; the charger's meter; and the most by which the
charge that a pack gives back differs from the charge put in."""

LOSS = {"li-ion": (0.02, 0.08), "lfp": (0.03, 0.08)}
"""Energy put in over energy given back, less 1: from the round trips of published cells."""

CAPACITY_SD, GAIN_SD, OFFSET_SD_A, VOLTAGE_SD = 0.03, 0.02, 0.02, 0.005
"""Drawn about what the profile states; its defaults."""


@dataclass(frozen=True)
class TruePack:
    """One pack with its sensors and its charger."""

    chemistry: str
    stated_ah: float
    full_ah: float
    ocv_v: Array
    """Of the whole pack, over `GRID`."""
    ohm: float
    slow_ohm: float
    slowest_ohm: float
    gain: float
    offset_a: float
    voltage: float
    meter: float
    back: float
    loss: float

    @property
    def full_wh(self) -> float:
        """Energy when full, drawn infinitely slowly."""
        return float(np.trapezoid(self.ocv_v, GRID)) * self.full_ah

    def left_wh(self, fraction: float, power_w: float, degc: float, reserve: float) -> float:
        """Return the energy down to the reserve at a constant power [Wh]."""
        energy = np.concatenate([[0.0], np.cumsum((self.ocv_v[1:] + self.ocv_v[:-1]) / 2)])
        end = float(np.interp(reserve * energy[-1], energy, GRID))
        if fraction <= end:
            return 0.0
        at = np.linspace(end, fraction, 300)
        open_v = np.interp(at, GRID, self.ocv_v)
        ohm = (self.ohm + self.slow_ohm + self.slowest_ohm) * _times(at, degc)
        volts = (open_v + np.sqrt(open_v**2 - 4.0 * ohm * power_w)) / 2
        return float(np.trapezoid(volts, at)) * self.full_ah


@dataclass(frozen=True)
class PackRide:
    """One ride, a row a second: the truth, and what the sensors read."""

    degc: float
    fraction: Array
    amps_a: Array
    volts_v: Array
    read_amps_a: Array
    read_volts_v: Array


@cache
def published() -> dict[str, Array]:
    """Return the published open-circuit voltages over state of charge 0, 0.05 ... 1 [V]."""
    sets: dict[str, list[float]] = {}
    for name in ("pybamm_ocv_soc.csv", "pybamm_ocv_further.csv"):
        with (DATA / name).open(newline="") as file:
            for row in csv.DictReader(file):
                sets.setdefault(row["parameter_set"], []).append(float(row["ocv_V"]))
    return {name: np.array(volts) for name, volts in sets.items()}


def draw_pack(rng: np.random.Generator, chemistry: str) -> TruePack:
    """Draw a pack about what its owner states."""
    cell = str(rng.choice(CELLS[chemistry]))
    at, volts = np.linspace(0.0, 1.0, 21), published()[cell].copy()
    place = GRID
    if chemistry == "lfp":
        volts[-1] = 3.40  # a rested cell does not stay at the 3.60 V of the model
        volts += 0.008 * rng.standard_normal()
        place = np.clip(GRID + 0.01 * rng.standard_normal() * _low(GRID), 0.0, 1.0)
    stated_ah, cells = float(rng.uniform(15.0, 45.0)), SERIES[chemistry]
    ohm = 0.07 * cells / stated_ah * math.exp(0.4 * rng.standard_normal())
    capacity, gain, offset, voltage, meter = rng.standard_normal(5)
    return TruePack(
        chemistry,
        stated_ah,
        stated_ah * (1.0 + CAPACITY_SD * capacity),
        cells * np.interp(place, at, volts),
        ohm,
        ohm * float(rng.uniform(0.3, 0.7)),
        ohm * float(rng.uniform(0.1, 0.3)),
        GAIN_SD * gain,
        OFFSET_SD_A * offset,
        VOLTAGE_SD * voltage,
        METER_SD * meter,
        float(rng.uniform(-BACK_MOST, BACK_MOST)),
        float(rng.uniform(*LOSS[chemistry])),
    )


def draw_ride(
    rng: np.random.Generator, pack: TruePack, begin: float, end: float, rest_s: int
) -> PackRide:
    """Draw a ride from one state of charge to another; it ends with so long a rest [s]."""
    wanted_as = (begin - end) * pack.full_ah * 3600.0
    usual_a, legs, drawn_as = pack.stated_ah * float(rng.uniform(0.25, 0.7)), [], 0.0
    while drawn_as < wanted_as:
        stops = rng.random() < 0.12
        length = int(rng.integers(20, 240) if stops else rng.integers(30, 900))
        amps = 0.005 * pack.stated_ah if stops else usual_a * math.exp(0.35 * rng.standard_normal())
        legs.append(np.full(length, amps))
        drawn_as += length * amps
    amps = np.concatenate(legs)
    amps = amps[: int(np.searchsorted(np.cumsum(amps), wanted_as)) + 1]
    waves = lfilter([0.3], [1.0, -0.95], rng.standard_normal(len(amps))) * 0.1
    hotel_a = 0.005 * pack.stated_ah * rng.random()
    amps = np.concatenate([np.zeros(20), amps * (1.0 + waves), np.zeros(rest_s)]) + hotel_a
    degc = float(np.clip(rng.normal(15.0, 6.0), 0.0, 30.0))
    fraction = begin - np.cumsum(amps) / 3600.0 / pack.full_ah
    sag = pack.ohm * amps + _slow(amps, pack.slow_ohm, 30.0) + _slow(amps, pack.slowest_ohm, 400.0)
    volts = np.interp(fraction, GRID, pack.ocv_v) - sag * _times(fraction, degc)
    noise = rng.standard_normal((2, len(amps)))
    read_amps = (amps - pack.offset_a) / (1.0 + pack.gain) + 0.05 * noise[0]
    read_volts = volts / (1.0 + pack.voltage) + 0.005 * noise[1]
    return PackRide(degc, fraction, amps, volts, np.round(read_amps, 2), np.round(read_volts, 3))


def put_back(
    pack: TruePack, ride: PackRide, until: float, unlogged_ah: float
) -> tuple[float, float]:
    """Return what the charger's meter shows after a ride: charge [Ah], energy [Wh]."""
    charge_ah = (until - float(ride.fraction[-1])) * pack.full_ah + unlogged_ah
    mean_v = float(ride.volts_v @ ride.amps_a) / float(ride.amps_a.sum())
    read = charge_ah * (1.0 + pack.meter) * (1.0 + pack.back)
    return read, read * mean_v * (1.0 + pack.loss)


def _low(fraction: Array) -> Array:
    """Return a bump about the lower knee."""
    return np.exp(-fraction / 0.1) * np.minimum(fraction / 0.05, 1.0)


def _times(fraction: Array, degc: float) -> Array:
    """Return the resistance over that of a half full pack at 20 degC."""
    return (1.0 + 0.6 * np.exp(-fraction / 0.08)) * math.exp(-0.035 * (degc - 20.0))


def _slow(amps: Array, ohm: float, time_s: float) -> Array:
    keep = math.exp(-1.0 / time_s)
    return ohm * lfilter([1.0 - keep], [1.0, -keep], amps)
