"""The cumulative curve against a plain numpy batch, past its bounded memory."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from onboard.efficiency.meters.cumulative import CAPACITY, CumulativeCurves


def test_equals_a_batch_after_every_block() -> None:
    rng = np.random.default_rng(1)
    t_s = np.cumsum(rng.uniform(0.025, 0.4, 3 * CAPACITY))
    steps = rng.normal(1, 3, len(t_s))
    batch = np.cumsum(np.concatenate([[0.0], steps[1:]]))
    curve, at = CumulativeCurves("wh"), 0
    while at < len(t_s):
        stop = min(at + int(rng.integers(1, 5000)), len(t_s))
        curve.extend(t_s[at:stop], steps[None, at:stop])
        at = stop
        assert curve.total("wh") == batch[at - 1]
        asked = rng.uniform(t_s[max(0, at - CAPACITY)], t_s[at - 1], 20)
        expected = np.interp(asked, t_s[:at], batch[:at])
        assert [curve.at("wh", t) for t in asked] == pytest.approx(expected, rel=1e-12)


def test_beyond_its_ends_it_returns_the_ends() -> None:
    curve = CumulativeCurves("wh")
    assert (curve.total("wh"), curve.first_s, curve.last_s, curve.at("wh", 3.0)) == (
        0.0,
        None,
        None,
        0.0,
    )
    curve.extend(np.array([10.0, 20.0]), np.array([[99.0, 5.0]]))
    assert (curve.first_s, curve.last_s, curve.total("wh")) == (10.0, 20.0, 5.0)
    assert [curve.at("wh", t) for t in (0.0, 10.0, 15.0, 99.0)] == [0.0, 0.0, 2.5, 5.0]


@given(st.lists(st.integers(1, 50), max_size=20))
def test_totals_are_bitwise_equal_for_any_partition(sizes: list[int]) -> None:
    rng = np.random.default_rng(sum(sizes))
    count = sum(sizes)
    t_s, steps = np.arange(count, dtype=float), rng.normal(0, 1e3, count)
    whole, pieces = CumulativeCurves("wh"), CumulativeCurves("wh")
    whole.extend(t_s, steps[None])
    for part in np.split(np.arange(count), np.cumsum(sizes)[:-1] if sizes else []):
        pieces.extend(t_s[part], steps[None, part])
    assert whole.total("wh") == pieces.total("wh")


@pytest.mark.parametrize("blocks", [1, 40, 4000])
def test_a_fast_sensor_is_remembered_as_long_as_a_slow_one(blocks: int) -> None:
    t_s = np.arange(40_000) * 0.01
    curve = CumulativeCurves("wh")
    for part in np.array_split(np.arange(40_000), blocks):
        curve.extend(t_s[part], np.ones((1, len(part))))
    assert curve.total("wh") == 39_999.0
    assert curve.at("wh", t_s[-1] - 300.0) == pytest.approx(9_999.0, abs=1e-6)


def test_memory_does_not_grow() -> None:
    curve = CumulativeCurves("wh")
    for n in range(20):
        curve.extend(np.arange(10_000.0) + n * 10_000, np.ones((1, 10_000)))
    assert curve.room == 2 * CAPACITY
    assert curve.total("wh") == 199_999.0
