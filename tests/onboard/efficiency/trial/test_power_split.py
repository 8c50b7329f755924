"""Battery power split by the first-order model of a motor.

The figures were computed independently for kv 100, 0.05 ohm, no load 1 A, and a lossless converter;
the model itself is from memory of Drela, First-Order DC Electric Motor Model.
"""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from onboard.efficiency.trial import power_split
from onboard.efficiency.trial.power_split import (
    by_motor_fraction,
    derived_motor_amps_a,
    split,
)
from onboard.efficiency.trial.trial_practice import DRIVE_EFFICIENCY_FRACTION
from onboard.profile import Drive

MOTOR = Drive(kv_rpm_per_v=100.0, phase_resistance_ohm=0.05, no_load_a=1.0)


@pytest.mark.parametrize(
    ("rpm", "battery_w", "shaft_w"),
    [(800.0, 285.0, 232.0), (1000.0, 345.0, 290.0), (1300.0, 435.0, 377.0)],
)
def test_the_same_motor_current_is_another_power(
    rpm: float, battery_w: float, shaft_w: float
) -> None:
    found = split(battery_w, rpm, 30.0, MOTOR)
    assert found is not None
    assert found.measured
    assert found.shaft_w == pytest.approx(shaft_w)
    assert found.copper_w == pytest.approx(45.0)
    assert found.no_load_w == pytest.approx(rpm / 100.0)
    assert found.drive_w == pytest.approx(0.0, abs=1e-9)
    # Torque (I - I0) 60 / (2 pi kv): 2.7693 N m in all three.
    assert found.shaft_w / (rpm * 2.0 * math.pi / 60.0) == pytest.approx(2.7693, abs=5e-5)


@pytest.mark.parametrize(
    ("rpm", "amps_a", "shaft_w"), [(1088.69, 32.030, 337.82), (1200.22, 29.662, 344.01)]
)
def test_two_propellers_at_400_w(
    rpm: float, amps_a: float, shaft_w: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(power_split, "DRIVE_EFFICIENCY_FRACTION", 1.0)
    found = split(400.0, rpm, math.nan, MOTOR)
    assert found is not None
    assert not found.measured
    assert found.motor_amps_a == pytest.approx(amps_a, abs=1e-3)
    assert found.shaft_w == pytest.approx(shaft_w, abs=0.02)


@given(st.floats(20.0, 3000.0), st.floats(100.0, 6000.0), st.floats(2.0, 200.0))
def test_the_parts_add_up(power_w: float, rpm: float, amps_a: float) -> None:
    for amps in (amps_a, math.nan):
        found = split(power_w, rpm, amps, MOTOR)
        assert found is not None
        parts = found.drive_w + found.copper_w + found.no_load_w + found.shaft_w
        assert parts == pytest.approx(power_w, rel=1e-9, abs=1e-9)


@given(st.floats(20.0, 3000.0), st.floats(100.0, 6000.0))
def test_a_derived_current_takes_the_power(power_w: float, rpm: float) -> None:
    amps = derived_motor_amps_a(power_w, rpm, MOTOR)
    asked = (rpm / 100.0 + amps * 0.05) * amps
    assert asked == pytest.approx(power_w * DRIVE_EFFICIENCY_FRACTION, rel=1e-9)


def test_without_the_motor_s_data_nothing_is_split() -> None:
    assert split(400.0, 1000.0, 30.0, Drive()) is None
    assert split(400.0, math.nan, 30.0, MOTOR) is None
    assert split(400.0, math.nan, math.nan, MOTOR) is None
    assert math.isnan(derived_motor_amps_a(400.0, 0.0, MOTOR))


def test_the_part_of_a_difference_due_to_drive_and_motor() -> None:
    a, b = split(400.0, 1088.69, 32.030, MOTOR), split(400.0, 1200.22, 29.662, MOTOR)
    assert a is not None
    assert b is not None
    # a's shaft gets 1.8 % less, so it goes slower by that to the slope and takes more Wh/km.
    assert by_motor_fraction(a, b, 0.3) == pytest.approx((344.01 / 337.82) ** 0.3 - 1.0, abs=2e-5)
    assert by_motor_fraction(a, b, 0.3) > 0 > by_motor_fraction(b, a, 0.3)
