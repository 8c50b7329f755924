"""The B-series propeller."""

import csv
import math

import pytest
from scipy.optimize import brentq, minimize_scalar

from tests.craft.propeller import COEFFICIENTS, Propeller, open_water, thrust_n, torque_and_slope

CHECK_POINTS = COEFFICIENTS.with_name("bseries_check_points.csv")


def coefficients(propeller: Propeller, advance_ratio: float) -> tuple[float, float]:
    """Return K_T and K_Q from the forces, so that the scaling is checked too."""
    turns, density = 13.0, 1000.0
    advance = advance_ratio * turns * propeller.diameter_m
    torque, _ = torque_and_slope(propeller, turns, advance, density)
    scale = density * turns**2 * propeller.diameter_m**4
    return thrust_n(propeller, turns, advance, density) / scale, torque / (
        scale * propeller.diameter_m
    )


def test_check_points() -> None:
    # tests/data/bseries_check_points.csv: computed independently from the coefficients
    # of Oosterveld and van Oossanen 1975 (see tests/data/README.md).
    lines = [line for line in CHECK_POINTS.read_text().splitlines() if not line.startswith('"#')]
    rows = list(csv.DictReader(lines))
    assert len(rows) == 210
    for row in rows:
        propeller = Propeller(0.2, float(row["P_D"]), float(row["AE_A0"]), int(row["Z"]))
        thrust, torque = coefficients(propeller, float(row["J"]))
        assert thrust == pytest.approx(float(row["KT"]), abs=1.5e-6)
        assert torque == pytest.approx(float(row["KQ"]), abs=1.5e-7)


def test_the_table_is_complete() -> None:
    # The series has 39 thrust and 47 torque terms; wrong, shorter tables are in circulation.
    lines = COEFFICIENTS.read_text().splitlines()
    assert sum(line.startswith("KT,") for line in lines) == 39
    assert sum(line.startswith("KQ,") for line in lines) == 47


def test_best_efficiency_and_zero_thrust() -> None:
    # Computed from the same coefficients: three blades, .50, pitch 1.0: zero thrust at
    # J 1.0867, best efficiency .7230 at J .869.
    propeller = Propeller(0.2, 1.0, 0.5, 3)

    def loss(advance_ratio: float) -> float:
        thrust, torque = coefficients(propeller, advance_ratio)
        return -thrust / torque * advance_ratio / (2.0 * math.pi)

    best = minimize_scalar(loss, bounds=(0.3, 1.05), method="bounded")
    assert best.x == pytest.approx(0.869, abs=1e-3)
    assert -best.fun == pytest.approx(0.7230, abs=1e-4)
    assert brentq(lambda j: coefficients(propeller, j)[0], 0.9, 1.1) == pytest.approx(
        1.0867, abs=1e-4
    )


def test_slope_is_the_torque_s_derivative() -> None:
    propeller = Propeller(0.24, 0.8, 0.5, 3, torque_excess_fraction=0.1)
    _, slope = torque_and_slope(propeller, 12.0, 2.0, 1025.0)
    up, down = (torque_and_slope(propeller, 12.0 + d, 2.0, 1025.0)[0] for d in (1e-4, -1e-4))
    assert (up - down) / 2e-4 == pytest.approx(slope, rel=1e-7)


def test_torque_excess_is_left_out_of_the_open_water_cubics() -> None:
    assert open_water(Propeller(0.2, 1.0, 0.5, 3)) == open_water(
        Propeller(0.2, 1.0, 0.5, 3, torque_excess_fraction=0.2)
    )
