"""How power follows the voltage: told by the throttle channel and by the trend."""

import numpy as np
import pytest

from onboard.efficiency.riding.common_practice import (
    SAG_OF_MOVED_THROTTLE,
    SAG_OF_STEADY_THROTTLE,
    SAG_OF_UNKNOWN_THROTTLE,
)
from onboard.efficiency.riding.ridden_blocks import POWER, SPEED, THROTTLE, VOLTS
from onboard.efficiency.riding.sagging import sag


def ridden(follows: float, fall: float, throttle=np.nan, noise=0.004, count=120) -> np.ndarray:
    """Return blocks with P proportional to V^follows, while V falls by a share."""
    rng = np.random.default_rng(6)
    volts = 50.0 * (1 - fall * np.linspace(0, 1, count))
    power = 300.0 * (volts / 50.0) ** follows * np.exp(noise * rng.normal(size=count))
    rows = np.zeros((count, 7))
    columns = {POWER: power, SPEED: 2.0, VOLTS: volts, THROTTLE: throttle}
    for column, values in columns.items():
        rows[:, column] = values
    return rows


ONE_LEG = np.zeros(120, np.int64)


@pytest.mark.parametrize("follows", [0.0, 2.4])
def test_the_trend_tells_what_is_held(follows: float) -> None:
    # Twenty minutes in which the voltage falls by 4 %.
    found = sag(ridden(follows, 0.04), ONE_LEG)
    assert found.by_volts == pytest.approx(follows, abs=2 * found.sd)
    assert found.sd < 0.2


def test_without_a_fall_the_throttle_tells() -> None:
    moved = 0.5 + 0.05 * np.sin(np.arange(120.0))
    for throttle, expected in (
        (np.nan, SAG_OF_UNKNOWN_THROTTLE),
        (0.5, SAG_OF_STEADY_THROTTLE),
        (moved, SAG_OF_MOVED_THROTTLE),
    ):
        found = sag(ridden(0.0, 0.0, throttle), ONE_LEG)
        assert (found.by_volts, found.sd) == pytest.approx(expected, abs=0.02)


def test_other_legs_are_not_a_trend() -> None:
    # Ten minutes with the current, then ten against it at a held speed: the voltage did not do it.
    rows = ridden(0.0, 0.02)
    rows[60:, POWER] *= 2.0
    legs = np.repeat(np.array([0, 1]), 60)
    assert sag(rows, legs).by_volts == pytest.approx(0.0, abs=0.5)
