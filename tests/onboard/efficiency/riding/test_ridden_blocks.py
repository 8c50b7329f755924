"""A block: means of its seconds, and how straight its course was."""

import numpy as np
import pytest

from onboard.efficiency.riding.ridden_blocks import (
    EAST,
    POWER,
    STRAIGHT,
    THROTTLE,
    block_of,
    course_rad,
    ln_power,
)


def seconds(course_deg, throttle=np.nan) -> np.ndarray:
    """Return ten seconds at 300 W and 2 m/s."""
    course, throttle = np.broadcast_arrays(np.radians(course_deg), throttle, np.zeros(10))[:2]
    power, speed, volts = (np.full(10, value) for value in (300.0, 2.0, 50.0))
    return np.stack(
        [power, speed, volts, speed * np.sin(course), speed * np.cos(course), throttle], axis=1
    )


def test_a_straight_block_has_a_unit_vector_and_its_course() -> None:
    block = block_of(seconds(90.0))
    assert block[[POWER, EAST, STRAIGHT]] == pytest.approx([300.0, 2.0, 1.0])
    assert np.degrees(course_rad(block[None])) == pytest.approx([90.0])


def test_a_turn_shortens_the_mean_unit_vector() -> None:
    # Courses even over an angle a: sin(a/2) / (a/2), here 2 / pi (circular statistics).
    even = np.linspace(0.0, 180.0, 10, endpoint=False) + 9.0
    assert block_of(seconds(even))[STRAIGHT] == pytest.approx(2 / np.pi, rel=5e-3)


def test_the_throttle_is_the_mean_of_what_is_known_of_it() -> None:
    assert block_of(seconds(0.0, [0.4, np.nan] * 5))[THROTTLE] == pytest.approx(0.4)
    assert np.isnan(block_of(seconds(0.0))[THROTTLE])


def test_power_fed_back_keeps_a_finite_logarithm() -> None:
    block = block_of(seconds(0.0))
    block[POWER] = -20.0
    assert np.isfinite(ln_power(block[None])).all()
