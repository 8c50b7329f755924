"""A screw propeller of the Wageningen B-series, from the published polynomial coefficients."""

import csv
import math
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

COEFFICIENTS = Path(__file__).parent.parent / "data" / "bseries.csv"
"""Origin: tests/data/README.md. 39 thrust terms and 47 torque terms, Reynolds number 2e6."""

Cubic = tuple[float, float, float, float]
"""Coefficients of 1, J, J^2 and J^3: with the shape fixed the series is a cubic in J."""


@dataclass(frozen=True)
class Propeller:
    """A propeller and its interaction with the hull."""

    diameter_m: float
    pitch_ratio: float
    area_ratio: float
    blades: int
    torque_excess_fraction: float = 0.0
    """Extra torque of a small, home-made propeller; the series is valid at Reynolds number 2e6."""
    wake_fraction: float = 0.05
    thrust_deduction_fraction: float = 0.05
    idle_drag_coefficient: float = 0.12
    """Drag coefficient of the stopped propeller, by its disc's area."""


@lru_cache(maxsize=32)
def open_water(propeller: Propeller) -> tuple[Cubic, Cubic]:
    """Return thrust and torque coefficients as cubics in J, without the torque excess."""
    cubics = {"KT": [0.0] * 4, "KQ": [0.0] * 4}
    lines = [line for line in COEFFICIENTS.read_text().splitlines() if not line.startswith('"#')]
    for row in csv.DictReader(lines):
        cubics[row["coef"]][int(row["s_J"])] += (
            float(row["C"])
            * propeller.pitch_ratio ** int(row["t_PD"])
            * propeller.area_ratio ** int(row["u_AEA0"])
            * propeller.blades ** int(row["v_Z"])
        )
    thrust, torque = cubics["KT"], cubics["KQ"]
    return (thrust[0], thrust[1], thrust[2], thrust[3]), (
        torque[0],
        torque[1],
        torque[2],
        torque[3],
    )


def thrust_n(
    propeller: Propeller, turns_per_s: float, advance_mps: float, density_kgpm3: float
) -> float:
    """Return the thrust of the turning propeller in open water [N]; negative past zero thrust."""
    k0, k1, k2, k3 = open_water(propeller)[0]
    advance_ratio = advance_mps / (turns_per_s * propeller.diameter_m)
    coefficient = k0 + advance_ratio * (k1 + advance_ratio * (k2 + advance_ratio * k3))
    return coefficient * density_kgpm3 * turns_per_s**2 * propeller.diameter_m**4


def torque_and_slope(
    propeller: Propeller, turns_per_s: float, advance_mps: float, density_kgpm3: float
) -> tuple[float, float]:
    """Return the propeller's torque [N m], and its derivative by turns [N m per 1/s]."""
    q0, q1, q2, q3 = open_water(propeller)[1]
    advance = advance_mps / propeller.diameter_m
    scale = density_kgpm3 * propeller.diameter_m**5 * (1.0 + propeller.torque_excess_fraction)
    torque = (
        q0 * turns_per_s**2
        + q1 * turns_per_s * advance
        + q2 * advance**2
        + q3 * advance**3 / turns_per_s
    )
    slope = 2.0 * q0 * turns_per_s + q1 * advance - q3 * advance**3 / turns_per_s**2
    return scale * torque, scale * slope


def idle_drag_n(propeller: Propeller, advance_mps: float, density_kgpm3: float) -> float:
    """Return the drag of the stopped propeller [N]."""
    disc_m2 = 0.25 * math.pi * propeller.diameter_m**2
    pressure_pa = 0.5 * density_kgpm3 * advance_mps * abs(advance_mps)
    return pressure_pa * disc_m2 * propeller.idle_drag_coefficient
