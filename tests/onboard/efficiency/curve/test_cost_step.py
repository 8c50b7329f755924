"""A step of cost on one course: found in calm and not in gusts; no change of the rider's is one."""

import dataclasses

import numpy as np
import pytest

from onboard.efficiency.alert_practice import STEP_BLOCKS
from onboard.efficiency.curve.cost_step import cost_over, cost_step
from onboard.efficiency.curve.joint_fit import fit
from onboard.efficiency.curve.steady import SteadyBlock
from tests.onboard.efficiency.curve.made_blocks import cubic, ride, steep

WATER = (0.1, -0.1)
LEARNED = [(course, power, 4) for course in (0, 120, 240) for power in (120.0, 250.0)]


def wall(speed_mps):
    """Return a power that goes from P ~ v^3 to P ~ v^10 above 2 m/s: a hull at its speed."""
    return 20.0 * speed_mps**3 * (1.0 + (speed_mps / 2.0) ** 14) ** 0.5


def known(power_at=cubic, legs=LEARNED):
    return fit(ride(np.random.default_rng(1), power_at, legs, WATER), [])


def steps(blocks: list[SteadyBlock], by) -> list[float]:
    """Return the steps found as blocks come in."""
    found = [cost_step(blocks[: end + 1], by) for end in range(len(blocks))]
    return [step.excess for step in found if step is not None]


def weedy(blocks: list[SteadyBlock], from_block: int, factor: float) -> list[SteadyBlock]:
    """Return blocks whose speed takes more power from a block on."""
    return [
        dataclasses.replace(block, power_w=block.power_w * (factor if n >= from_block else 1.0))
        for n, block in enumerate(blocks)
    ]


@pytest.mark.parametrize("factor", [1.25, 1.4, 1.6])
@pytest.mark.parametrize("seed", range(5))
def test_a_step_is_found_after_two_minutes(factor: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    blocks = weedy(ride(rng, cubic, [(60, 200.0, 20)], WATER, speed_sd=0.015), 10, factor)
    assert steps(blocks[: 10 + STEP_BLOCKS], known())
    assert steps(blocks[: 10 + STEP_BLOCKS], known())[-1] == pytest.approx(np.log(factor), abs=0.1)


def test_a_ride_in_order_has_none() -> None:
    by = known()
    for seed in range(100):
        rng = np.random.default_rng(seed)
        assert steps(ride(rng, cubic, [(60, 200.0, 40)], WATER, speed_sd=0.04), by) == []


def test_what_is_clear_in_a_calm_is_not_in_gusts() -> None:
    # A third more power, where blocks scatter by 0.03 and by 0.15 m/s.
    found = []
    for speed_sd in (0.03, 0.15):
        rng = np.random.default_rng(2)
        blocks = ride(rng, cubic, [(60, 200.0, 17)], WATER, speed_sd=speed_sd)
        found.append(bool(steps(weedy(blocks, 10, 1.33), known())))
    assert found == [True, False]


@pytest.mark.parametrize(
    "legs",
    [
        # The throttle opened where the curve is steep: much more power, hardly more speed.
        [(60, 500.0, 12), (60, 720.0, 12)],
        [(60, 500.0, 12), (60, 880.0, 12)],
        # Eased.
        [(60, 500.0, 12), (60, 300.0, 12)],
        # Turned.
        [(60, 200.0, 12), (100, 260.0, 12)],
        [(60, 200.0, 12), (240, 260.0, 12)],
    ],
)
def test_what_the_rider_changes_is_no_step(legs) -> None:
    learned = [(course, power, 4) for course in (0, 120, 240) for power in (100.0, 300.0)]
    for power_at in (cubic, steep, wall):
        by = known(power_at, learned)
        for seed in range(10):
            rng = np.random.default_rng(seed)
            assert steps(ride(rng, power_at, legs, WATER, speed_sd=0.01), by) == []


def test_an_error_of_the_water_drops_out() -> None:
    # The curve takes the water for still; it sets by 0.4 m/s against the course.
    by = fit(ride(np.random.default_rng(1), cubic, LEARNED, (0.0, 0.0)), [])
    clean = ride(np.random.default_rng(3), cubic, [(60, 200.0, 20)], (-0.35, -0.2), speed_sd=0.015)
    assert steps(clean, by) == []
    assert steps(weedy(clean, 10, 1.4), by)


def test_a_pause_or_too_little_before_tells_nothing() -> None:
    blocks = ride(np.random.default_rng(2), cubic, [(60, 200.0, 20)], WATER, speed_sd=0.015)
    fouled = weedy(blocks, 10, 1.5)
    assert cost_step(fouled[7 : 10 + STEP_BLOCKS], known()) is None
    paused = [
        dataclasses.replace(block, t_s=block.t_s + (300.0 if n > 12 else 0.0))
        for n, block in enumerate(fouled)
    ]
    assert cost_step(paused[: 10 + STEP_BLOCKS], known()) is None


def test_another_course_and_a_crawl_have_no_cost_to_compare() -> None:
    by = known()
    before = ride(np.random.default_rng(2), cubic, [(60, 200.0, 8)], WATER)
    across = ride(np.random.default_rng(2), cubic, [(100, 200.0, 1)], WATER)
    crawl = ride(np.random.default_rng(2), cubic, [(60, 16.0, 1)], WATER)
    assert cost_over(across, before, by) is None
    assert cost_over(crawl, before, by) is None
    assert cost_over(before[:1], before, by) == pytest.approx(0.0, abs=0.15)
