"""Seconds between two times, and which current a drive reports."""

import numpy as np
import pytest

from onboard.efficiency.trial.seconds import motor_current
from tests.onboard.efficiency.trial.made_legs import made_seconds


@pytest.mark.parametrize(
    ("start_s", "end_s", "expected"),
    [
        (2.0, 5.0, [3, 4, 5]),
        (2.3, 5.9, [4, 5]),
        (-np.inf, 3.0, [1, 2, 3]),
        (8.0, np.inf, [9, 10]),
        (20.0, 30.0, []),
    ],
)
def test_only_seconds_wholly_within_the_times(
    start_s: float, end_s: float, expected: list[int]
) -> None:
    seconds = made_seconds(np.full(10, 2.0))
    part = seconds.between(start_s, end_s)
    assert part.t_s.tolist() == expected
    assert len(part) == len(part.power_w) == len(part.motor_amps_a) == len(expected)


def test_which_current_a_drive_reports() -> None:
    battery = np.full(6, 14.4)
    motor = np.array([30.0, 31.0, np.nan, 29.0, 30.0, 30.0])
    assert motor_current(motor, battery) == pytest.approx(motor, nan_ok=True)
    assert np.isnan(motor_current(np.full(6, 14.2), battery)).all()
    # Two sensors that differ by a few per cent, always the same; a duty of that size changes.
    assert np.isnan(motor_current(battery / np.linspace(0.94, 0.95, 6), battery)).all()
    throttle = battery / np.linspace(0.8, 1.0, 6)
    assert motor_current(throttle, battery) == pytest.approx(throttle)
    # At full throttle the duty is 1, and both are the same.
    assert np.isnan(motor_current(battery, battery)).all()
    assert np.isnan(motor_current(np.full(6, np.nan), battery)).all()
    assert np.isnan(motor_current(np.full(6, 30.0), np.full(6, 0.2))).all()
