"""Resistance with misbehaving voltages, and the coverage of its standard deviation."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import lfilter

from onboard.efficiency.battery.resistance import LagResistance
from onboard.efficiency.common_practice import RESISTANCE_STEPS_LEAST

OHM = 0.05


def pulses(seed: int, count: int = 600, noise_v: float = 0.01) -> tuple[np.ndarray, np.ndarray]:
    """Return amps and volts of a 50 V pack behind 0.05 ohm; amps change every ten seconds."""
    rng = np.random.default_rng(seed)
    amps = np.repeat(rng.uniform(2, 20, count // 10), 10)
    return 50 - OHM * amps + rng.normal(0, noise_v, count), amps


def informative(amps: np.ndarray, lag: int = 2) -> np.ndarray:
    return np.flatnonzero(np.abs(amps[lag:] - amps[:-lag]) > 1.0) + lag


@pytest.mark.parametrize("step", [0, 3, 8, RESISTANCE_STEPS_LEAST - 1, RESISTANCE_STEPS_LEAST, 40])
@pytest.mark.parametrize("glitch_v", [-20.0, 5.0])
def test_a_connector_glitch_does_not_ruin_it_whenever_it_comes(step, glitch_v) -> None:
    volts, amps = pulses(1)
    volts[informative(amps)[step]] += glitch_v
    slope = LagResistance(2, None)
    slope.fold(volts, amps, np.full(len(volts), 50.0))
    value, sd = slope.value_and_sd()
    assert value == pytest.approx(OHM, abs=0.002)
    assert sd < 0.002


def test_a_constant_current_yields_no_resistance() -> None:
    slope = LagResistance(2, None)
    volts = 49.5 + np.random.default_rng(3).normal(0, 0.01, 900)
    slope.fold(volts, np.full(900, 10.0), np.full(900, 50.0))
    assert slope.value_and_sd() is None


@pytest.mark.parametrize("noise_v", [0.005, 0.02, 0.08])
def test_the_standard_deviation_has_its_coverage(noise_v: float) -> None:
    # 100 packs: at 95 % coverage, 86 or fewer occur less than once in a thousand (binomial).
    inside = 0
    for seed in range(100):
        volts, amps = pulses(seed, 900, noise_v)
        slope = LagResistance(2, None)
        slope.fold(volts, amps, np.full(len(volts), 50.0))
        value, sd = slope.value_and_sd()
        inside += abs(value - OHM) < 1.96 * sd
    assert inside > 86


def test_the_standard_deviation_of_a_lasting_load_has_its_coverage_with_a_wandering_voltage() -> (
    None
):
    # Cells recover over a minute (a first-order process of 20 mV): neighbouring differences over a
    # minute then share most of what is wrong with them. 100 packs as above.
    inside, keep = 0, np.exp(-1.0 / 60.0)
    for seed in range(100):
        rng = np.random.default_rng(seed)
        amps = np.repeat(rng.uniform(2, 20, 15), 120)
        kicks = rng.normal(0, 0.02 * np.sqrt(1 - keep**2), len(amps))
        kicks[0] = rng.normal(0, 0.02)
        volts = 50 - OHM * amps + lfilter([1.0], [1.0, -keep], kicks)
        slope = LagResistance(60, None)
        slope.fold(volts, amps, np.full(len(volts), 50.0))
        value, sd = slope.value_and_sd()
        inside += abs(value - OHM) < 1.96 * sd
    assert inside > 86


def test_a_voltage_that_rises_under_load_yields_no_negative_resistance() -> None:
    # Another load on the same pack goes off whenever the motor goes on.
    volts, amps = pulses(4)
    slope = LagResistance(2, None)
    slope.fold(100.0 - volts, amps, np.full(len(volts), 50.0))
    assert slope.value_and_sd()[0] == 0.0
    assert slope.figure().low == 0.0


def test_stated_and_measured_values_are_weighted_by_precision() -> None:
    # Stated 0.08 to a fifth: a standard deviation of 0.016; measured as above.
    volts, amps = pulses(6)
    stated, alone = LagResistance(2, 0.08), LagResistance(2, None)
    for slope in (stated, alone):
        slope.fold(volts, amps, np.full(len(volts), 50.0))
    measured, sd = alone.value_and_sd()
    weights = sd**-2, 0.016**-2
    by_hand = (measured * weights[0] + 0.08 * weights[1]) / sum(weights)
    assert stated.value_and_sd() == pytest.approx((by_hand, sum(weights) ** -0.5))


@given(st.lists(st.integers(1, 299), max_size=6))
@settings(max_examples=30)
def test_it_does_not_depend_on_the_cut(cuts: list[int]) -> None:
    volts, amps = pulses(7, 300)
    volts[50] = np.nan
    whole, pieces = LagResistance(2, None), LagResistance(2, None)
    open_v = np.full(300, 50.0)
    whole.fold(volts, amps, open_v)
    for part in np.split(np.arange(300), sorted(cuts)):
        pieces.fold(volts[part], amps[part], open_v[part])
    assert pieces.value_and_sd() == whole.value_and_sd()


def test_it_follows_a_pack_that_warms() -> None:
    # Half an hour at 0.08 ohm, then 0.05: most of the old is forgotten an hour later.
    cold, amps = pulses(2, 1800)
    cold -= 0.03 * amps
    warm, later = pulses(3, 36000)
    slope = LagResistance(2, None)
    for volts, current in ((cold, amps), (warm, later)):
        slope.fold(volts, current, np.full(len(volts), 50.0))
    assert slope.value_and_sd()[0] == pytest.approx(OHM, abs=0.002)
