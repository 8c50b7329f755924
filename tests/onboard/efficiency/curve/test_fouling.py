"""Weed is detected and cleared; new speeds and courses and a poorly known curve raise no alarm."""

import dataclasses
import math

import numpy as np
import pytest

from onboard.efficiency.common_practice import (
    FOULED_BLOCKS_LEAST,
    FOULED_BLOCKS_MOST,
    FOULING_FIT_BLOCKS,
)
from onboard.efficiency.curve.fouling import FoulingDetector
from onboard.efficiency.curve.joint_fit import fit
from onboard.efficiency.sources.minutes import Minute
from tests.onboard.efficiency.curve.made_blocks import cubic, ride

WATER = (0.1, -0.1)
THREE = [(course, power, 4) for course in (0, 120, 240) for power in (120.0, 250.0)]


def known(plan=THREE):
    return fit(ride(np.random.default_rng(1), cubic, plan, WATER), [])


def later(power_w, count, *, factor=1.0, course=60.0, seed=2):
    """Return later blocks than those learned from; weed multiplies the power by `factor`."""
    blocks = ride(np.random.default_rng(seed), cubic, [(course, power_w, count)], WATER)
    return [
        dataclasses.replace(block, t_s=1000 + block.t_s, power_w=block.power_w * factor)
        for block in blocks
    ]


def fed(watch, blocks, by):
    return [watch.fold(block, by) for block in blocks]


def test_weed_is_found_within_a_minute_and_not_learned_from() -> None:
    watch, by = FoulingDetector(), known()
    passed = fed(watch, later(200.0, 6, factor=1.5), by)
    assert watch.fouled
    assert passed == [[]] * 6
    assert 0.25 < watch.excess_fraction < 0.8


def test_it_takes_three_blocks_in_a_row() -> None:
    watch, by = FoulingDetector(), known()
    fed(watch, later(200.0, FOULED_BLOCKS_LEAST - 1, factor=1.5), by)
    assert not watch.fouled
    clean = later(200.0, 1)[0]
    # Two alone are not weed: they are learned from after all.
    assert len(watch.fold(clean, by)) == FOULED_BLOCKS_LEAST
    assert not watch.fouled


def test_it_is_over_after_a_minute_without() -> None:
    watch, by = FoulingDetector(), known()
    fed(watch, later(200.0, 5, factor=1.5), by)
    clean = later(200.0, 4)
    assert [len(one) for one in fed(watch, clean, by)] == [0, 0, 1, 1]
    assert not watch.fouled


def test_a_new_speed_is_neither_weed_nor_an_all_clear() -> None:
    by = known()
    watch = FoulingDetector()
    passed = fed(watch, later(700.0, 6, factor=1.5), by)
    assert not watch.fouled
    assert all(len(one) == 1 for one in passed)
    fed(watch, later(200.0, 4, factor=1.5), by)
    assert watch.fouled
    fed(watch, later(700.0, 6), by)
    assert watch.fouled


def test_turning_into_a_head_current_not_yet_known_is_no_weed() -> None:
    # One course only so far, with a current of 0.3 m/s; then against it.
    plan = [(0, 120.0, 8), (0, 250.0, 8)]
    by = fit(ride(np.random.default_rng(3), cubic, plan, (0.0, 0.3)), [])
    against = ride(np.random.default_rng(4), cubic, [(180, 200.0, 6)], (0.0, 0.3))
    watch = FoulingDetector()
    assert all(len(one) == 1 for one in fed(watch, against, by))
    assert not watch.fouled


def test_too_few_blocks_give_no_verdict() -> None:
    few = known([(0, 120.0, FOULING_FIT_BLOCKS - 1)])
    watch = FoulingDetector()
    for by in (None, few):
        fed(watch, later(120.0, 6, factor=2.0), by)
        assert not watch.fouled


def test_a_clean_craft_raises_no_alarm() -> None:
    by = known()
    for seed in range(60):
        watch = FoulingDetector()
        for course in (30.0, 150.0, 300.0):
            fed(watch, later(180.0, 10, course=course, seed=seed), by)
            assert not watch.fouled


def test_a_lasting_excess_is_a_changed_craft() -> None:
    watch, by = FoulingDetector(), known()
    passed = fed(watch, later(200.0, FOULED_BLOCKS_MOST, factor=1.6), by)
    assert [len(one) for one in passed] == [0] * (FOULED_BLOCKS_MOST - 1) + [FOULED_BLOCKS_MOST]
    assert not watch.fouled


def test_a_step_on_the_course_just_ridden_is_weed_before_the_curve_shows_it() -> None:
    # A fifth more power: the curve alone, known to 8 % here, could not tell.
    watch, by = FoulingDetector(), known([(0, 120.0, 6), (0, 250.0, 6)])
    before = later(180.0, 10, course=0.0, seed=5)
    fed(watch, before, by)
    assert not watch.fouled
    after = [
        dataclasses.replace(block, t_s=before[-1].t_s + block.t_s - 1000)
        for block in later(180.0, 12, factor=1.3, course=0.0, seed=6)
    ]
    passed = [watch.fold(block, by) for block in after]
    assert watch.fouled
    assert 0.15 < watch.excess_fraction < 0.5
    assert passed[-1] == []
    clean = [
        dataclasses.replace(block, t_s=after[-1].t_s + block.t_s - 1000)
        for block in later(180.0, 4, course=0.0, seed=7)
    ]
    fed(watch, clean, by)
    assert not watch.fouled


def test_a_wind_that_blocks_have_lain_about_is_no_weed() -> None:
    # To and fro in a wind, each way costs 40 % more or less than the curve.
    by = known()
    for factors in ((0.7, 1.4), (1.0, 1.0)):
        watch = FoulingDetector()
        for turned, factor in zip((30.0, 210.0) * 3, factors * 3, strict=True):
            fed(watch, later(150.0, 6, factor=factor, course=turned, seed=8), by)
        fed(watch, later(150.0, 6, factor=1.5, course=110.0, seed=9), by)
        assert watch.fouled is (factors == (1.0, 1.0))


def test_a_power_never_tried_at_the_end_of_the_curve_is_no_weed() -> None:
    # On one course up to 250 W; then 40 % more, where the curve has become too steep for a speed
    # to show it.
    legs = [(0, 120.0, 8), (0, 250.0, 8)]
    by = fit(ride(np.random.default_rng(1), cubic, legs, WATER), [])
    watch = FoulingDetector()
    fed(watch, later(250.0, 8, factor=1.4, course=0.0), by)
    assert not watch.fouled


def test_a_loaded_propeller_is_weed_and_its_blocks_are_not_learned_from() -> None:
    watch, by = FoulingDetector(), known()
    minutes = [
        Minute(10.0 * n, 300.0 if n < 12 else 360.0, 50.0, 2.0, 0.0, math.nan, 900.0)
        for n in range(24)
    ]
    for minute in minutes:
        watch.fold_minute(minute)
    assert watch.fouled
    assert watch.excess_fraction == pytest.approx(0.2)
    assert fed(watch, later(200.0, 3), by) == [[]] * 3
