"""The hull's resistance."""

import math
from dataclasses import replace

import numpy as np
import pytest

from tests.craft.crafts import BOARD, SKIFF
from tests.craft.hull import Hull, friction_coefficient, friction_n, resistance_n, wave_fraction

# Tupper, Introduction to Naval Architecture, table 8.3, p. 191; the row for 1e8 by the formula,
# because the scan used shows .002085 there.
ITTC_TABLE = [
    (1e5, 0.008333),
    (5e5, 0.005482),
    (1e6, 0.004688),
    (5e6, 0.003397),
    (1e7, 0.003000),
    (5e7, 0.002309),
    (1e8, 0.002083),
    (5e8, 0.001671),
    (1e9, 0.001531),
    (5e9, 0.001265),
    (1e10, 0.001172),
    (5e10, 0.000991),
]


@pytest.mark.parametrize(("reynolds", "coefficient"), ITTC_TABLE)
def test_friction_line_agrees_with_the_printed_table(reynolds: float, coefficient: float) -> None:
    assert friction_coefficient(reynolds) == pytest.approx(coefficient, abs=1.5e-6)


def test_friction_line_agrees_with_a_worked_value() -> None:
    # NPL Ship Report 142 (Morrall 1970), p. 2.
    assert friction_coefficient(5.62e6) == pytest.approx(3.325e-3, abs=1e-6)


@pytest.mark.parametrize(
    ("density", "viscosity", "force"), [(999.1, 1.139e-6, 14.166), (999.1, 1.189e-6, 14.277)]
)
def test_friction_of_a_small_craft(density: float, viscosity: float, force: float) -> None:
    # Computed independently from the line: L 3.8 m, 2.2 m2, 2 m/s; viscosities quoted from the
    # ITTC.
    hull = replace(SKIFF.hull, wetted_area_m2=2.2)
    assert friction_n(hull, 2.0, density, viscosity) == pytest.approx(force, abs=5e-4)


def test_friction_power_exponent() -> None:
    # Derivative of the line: d ln P / d ln v = 3 - 2 / (ln 10 (log10 Re - 2)), 2.818 at Re 6e6.
    speed = 6e6 * 1.189e-6 / SKIFF.hull.length_waterline_m
    up, down = (
        v * friction_n(SKIFF.hull, v, 1025.0, 1.189e-6) for v in (1.001 * speed, 0.999 * speed)
    )
    assert math.log(up / down) / math.log(1.001 / 0.999) == pytest.approx(2.818, abs=1e-3)


@pytest.mark.parametrize("hull", [SKIFF.hull, BOARD.hull])
def test_the_wave_hump_is_where_stated(hull: Hull) -> None:
    froudes = np.linspace(0.05, 1.5, 2901)
    waves = [wave_fraction(hull, froude) for froude in froudes]
    assert froudes[int(np.argmax(waves))] == pytest.approx(hull.hump_froude, abs=1e-3)
    assert max(waves) == pytest.approx(hull.hump_fraction, rel=1e-6)


def test_a_steep_hull_only_gets_steeper() -> None:
    hull = replace(SKIFF.hull, fall_exponent=None)
    forces = [resistance_n(hull, speed, 1025.0, 1.189e-6) for speed in np.linspace(0.2, 6.0, 60)]
    assert np.all(np.diff(forces) > 0.0)
    assert np.all(np.diff(forces, 2) > 0.0)


def test_wave_resistance_rises_as_measured_residuary_resistance_does() -> None:
    # Delft yacht series, 308 rows of measurements: local exponents of resistance of 3.7 to 4.1 for
    # Fn .20 to .30 (worked out from the means over the hulls).
    up, down = wave_fraction(SKIFF.hull, 0.30), wave_fraction(SKIFF.hull, 0.20)
    assert 3.5 < math.log(up / down) / math.log(1.5) < 4.6


def test_resistance_is_against_the_motion() -> None:
    ahead = resistance_n(SKIFF.hull, 1.5, 1025.0, 1.189e-6)
    assert ahead > 0.0
    assert resistance_n(SKIFF.hull, -1.5, 1025.0, 1.189e-6) == -ahead
    assert resistance_n(SKIFF.hull, 0.0, 1025.0, 1.189e-6) == 0.0
