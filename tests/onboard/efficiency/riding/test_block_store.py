"""Blocks under way: what is stored, and what is left out."""

import numpy as np
import pytest

from onboard.efficiency.riding.block_store import BLOCKS_MOST, BlockStore
from onboard.efficiency.riding.ridden_blocks import BLOCK_S, POWER, SPEED, course_rad
from tests.onboard.efficiency.riding.made_riding import settled


def stored(power, speed, **columns) -> BlockStore:
    store = BlockStore()
    store.fold(settled(np.asarray(power, float), np.asarray(speed, float), **columns))
    return store


def test_stops_are_left_out() -> None:
    power = np.repeat([300.0, 10.0, 300.0], [300, 600, 30])
    blocks = stored(power, np.where(power > 10.0, 2.0, 0.0)).blocks()
    assert len(blocks) == 33
    assert set(blocks[:, POWER]) == {300.0}
    assert set(blocks[:, SPEED]) == {2.0}


def test_losing_way_before_a_stop_is_left_out() -> None:
    # Drifting in to the mooring with the drive off.
    power = np.repeat([300.0, 4.2], [300, 85])
    speed = np.concatenate([np.full(300, 2.0), np.linspace(1.8, 0.35, 25), np.zeros(60)])
    assert set(stored(power, speed).blocks()[:, POWER]) == {300.0}


def test_slowing_down_without_a_stop_is_kept() -> None:
    blocks = stored(np.full(320, 300.0), np.repeat([2.0, 1.0], [300, 20])).blocks()
    assert len(blocks) == 32


@pytest.mark.parametrize(("open_s", "blocks"), [(4, 2), (5, 3)])
def test_half_a_block_counts_as_one(open_s: int, blocks: int) -> None:
    store = stored(np.full(20 + open_s, 300.0), np.full(20 + open_s, 2.0))
    assert (len(store.blocks()), store.seconds_s) == (blocks, 20 + open_s)


def test_two_hours_are_stored_at_most() -> None:
    count = BLOCKS_MOST * BLOCK_S + 500
    blocks = stored(np.arange(1.0, count + 1), np.full(count, 2.0)).blocks()
    assert len(blocks) == 720
    # The oldest went.
    assert blocks[0, POWER] == pytest.approx(500 + 5.5)


def test_seconds_not_known_throughout_are_left_out() -> None:
    power = np.full(40, 300.0)
    power[::2] = np.nan
    assert stored(power, np.full(40, 2.0)).seconds_s == 20


def test_a_craft_without_a_course_rides_straight_on() -> None:
    blocks = stored(np.full(50, 300.0), np.full(50, 2.0), course_deg=np.nan).blocks()
    assert course_rad(blocks).tolist() == [0.0] * 5
