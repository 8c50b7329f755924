"""Motor and shaft."""

import pytest
from scipy.optimize import brentq

from tests.craft.craft import Craft
from tests.craft.crafts import BOARD, SKIFF
from tests.craft.motor import Motor, motor_point, shaft_point

MOTOR = Motor(kv_rpm_per_v=100.0, resistance_ohm=0.05, no_load_a=1.0, pole_pairs=7)


@pytest.mark.parametrize(
    ("rpm", "battery_w", "battery_a", "shaft_w"),
    [(800, 285.0, 11.875, 232.0), (1000, 345.0, 14.375, 290.0), (1300, 435.0, 18.125, 377.0)],
)
def test_same_motor_current_at_three_speeds(
    rpm: float, battery_w: float, battery_a: float, shaft_w: float
) -> None:
    # Worked by hand from the first-order motor (Kv 100, 0.05 ohm, 1 A, 30 A, battery 24 V): the
    # torque is (30 - 1) A times 60 / (2 pi 100) N m/A = 2.7693 N m in all three rows.
    point = motor_point(MOTOR, rpm, 2.7693)
    assert point.amps_a == pytest.approx(30.0, abs=1e-3)
    assert point.power_w == pytest.approx(battery_w, abs=0.05)
    assert point.power_w / 24.0 == pytest.approx(battery_a, abs=2e-3)
    assert point.shaft_w == pytest.approx(shaft_w, abs=0.05)
    assert point.power_w - point.shaft_w - 45.0 == pytest.approx(rpm / 100.0 * 1.0, abs=0.05)


@pytest.mark.parametrize(
    ("load", "rpm", "amps", "shaft_w"),
    [(2.5e-6, 1088.69, 32.030, 337.82), (1.9e-6, 1200.22, 29.662, 344.01)],
)
def test_two_loads_at_the_same_power(load: float, rpm: float, amps: float, shaft_w: float) -> None:
    # Computed independently: torque = load x rpm^2, 400 W into the same motor.
    found = brentq(lambda n: motor_point(MOTOR, n, load * n * n).power_w - 400.0, 100.0, 3000.0)
    point = motor_point(MOTOR, found, load * found * found)
    assert found == pytest.approx(rpm, abs=0.01)
    assert point.amps_a == pytest.approx(amps, abs=1e-3)
    assert point.shaft_w == pytest.approx(shaft_w, abs=0.01)


@pytest.mark.parametrize("craft", [SKIFF, BOARD])
@pytest.mark.parametrize("drive_w", [30.0, 300.0, 1200.0])
@pytest.mark.parametrize("advance_mps", [-0.5, 0.0, 0.8, 2.0])
def test_shaft_conserves_power(craft: Craft, drive_w: float, advance_mps: float) -> None:
    # Conservation of energy, stage by stage.
    motor = craft.motor
    shaft = shaft_point(
        motor, craft.propeller, drive_w, advance_mps, density_kgpm3=1025.0, guess_turns_per_s=9.0
    )
    if shaft is None:
        assert drive_w < 50.0
        return
    point = shaft.motor
    assert point.power_w == pytest.approx(drive_w * motor.drive_efficiency_fraction, rel=1e-9)
    copper_w = point.amps_a**2 * motor.resistance_ohm
    no_load_w = motor.no_load_a * point.rpm / motor.kv_rpm_per_v
    assert point.power_w - copper_w - no_load_w == pytest.approx(point.shaft_w, rel=1e-9)
    behind_gear_w = point.shaft_w * motor.gear_efficiency_fraction
    assert behind_gear_w == pytest.approx(shaft.propeller_w, rel=1e-9)
    assert point.rpm == pytest.approx(60.0 * motor.gear_ratio * shaft.turns_per_s)
    assert shaft.thrust_n * advance_mps < shaft.propeller_w


def test_the_first_guess_does_not_matter() -> None:
    found = [
        shaft_point(
            SKIFF.motor, SKIFF.propeller, 300.0, 1.9, density_kgpm3=1025.0, guess_turns_per_s=guess
        )
        for guess in (0.5, 5.0, 13.0, 80.0)
    ]
    turns = [shaft.turns_per_s for shaft in found if shaft]
    assert len(turns) == 4
    assert max(turns) - min(turns) < 1e-9


def test_too_little_power_does_not_drive() -> None:
    assert (
        shaft_point(
            SKIFF.motor, SKIFF.propeller, 5.0, 2.5, density_kgpm3=1025.0, guess_turns_per_s=1.0
        )
        is None
    )
