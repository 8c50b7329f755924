"""The voltage under load, carried forward by hand."""

import math

import numpy as np
import pytest

from onboard.efficiency.advice.common_practice import LOADED_NEAR_FACTOR
from onboard.efficiency.advice.loaded_voltage import LoadedVoltage
from tests.onboard.efficiency.advice.homeward import seconds

CUTOFF_V = 42.0


def after(*parts) -> float:
    kept = LoadedVoltage()
    for part in parts:
        kept.fold(part)
    return kept.seconds_to_cutoff(CUTOFF_V)


def loaded(volts_v, power_w=600.0):
    volts = np.asarray(volts_v, np.float64)
    return seconds(np.full(len(volts), 2.0), np.full(len(volts), power_w), volts_v=volts)


FALLING = np.linspace(44.0, 43.0, 101)
"""A hundredth of a volt a second: another hundred seconds to the cut-off."""


def test_a_falling_voltage_is_carried_forward() -> None:
    assert after(loaded(FALLING)) == pytest.approx(100.0, rel=1e-6)
    assert after(loaded(FALLING).part(0, 30), loaded(FALLING).part(30, None)) == pytest.approx(100)


def test_a_change_of_power_is_not_a_fall() -> None:
    # 0.1 ohm at 43 V: a watt more costs 0.1 / 43 V. The power varies by a third.
    power = 600.0 + 200.0 * np.sin(np.arange(101) / 5.0)
    sag = (power - power[-1]) * 0.1 / 43.0
    volts = FALLING - sag
    assert after(loaded(volts, power)) == pytest.approx(100.0, rel=1e-6)


@pytest.mark.parametrize(
    "part",
    [
        loaded(FALLING[:59]),
        loaded(FALLING[::-1]),
        loaded(FALLING + (LOADED_NEAR_FACTOR - 1.0) * CUTOFF_V + 0.1),
        loaded(FALLING, 0.5),
        loaded(np.full(100, np.nan)),
    ],
    ids=["too short", "rising", "far above", "no load", "unknown"],
)
def test_nothing_is_carried_forward(part) -> None:
    assert after(part) == math.inf
    assert after(loaded(np.full(100, 43.0))) > 1e9


def test_only_the_last_minutes_count() -> None:
    # A voltage that fell fast long ago and is steady now.
    assert after(loaded(np.concatenate([np.linspace(50.0, 43.0, 60), np.full(130, 43.0)]))) > 1e4


def test_at_the_cutoff_no_time_is_left() -> None:
    assert after(loaded(FALLING - 1.1)) == 0.0
