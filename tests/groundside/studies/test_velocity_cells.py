"""Means by speed through water equal a plain calculation, however the ride was cut."""

from dataclasses import replace

import numpy as np
import pytest

from groundside.studies.velocity_cells import CELL_MPS, VelocityCells
from onboard.efficiency.sources.settled_seconds import SettledSeconds
from tests.onboard.efficiency.riding.made_riding import settled

WATER = (0.3, -0.4)


def ridden(count: int = 4000) -> SettledSeconds:
    """Return seconds in all directions, at 1 to 3 m/s through moving water."""
    chance = np.random.default_rng(3)
    course, speed = chance.uniform(0.0, 2.0 * np.pi, count), chance.uniform(1.0, 3.0, count)
    power = 50.0 * speed**2
    power[chance.random(count) < 0.03] = np.nan
    east, north = speed * np.sin(course) + WATER[0], speed * np.cos(course) + WATER[1]
    return replace(settled(power, np.hypot(east, north)), east_mps=east, north_mps=north)


def test_means_through_water_lie_on_the_craft_s_own_curve() -> None:
    cells, every = VelocityCells(), ridden()
    for begin in range(0, len(every), 137):
        cells.fold(every.part(begin, begin + 137))
    means = cells.means(*WATER, 0.25, 10.0)
    assert sum(one.seconds for one in means) == np.isfinite(every.power_w).sum()
    inner = [one for one in means if 1.1 < one.speed_mps < 2.9]
    assert len(inner) >= 6
    for one in inner:
        assert one.power_w == pytest.approx(50.0 * one.speed_mps**2, rel=0.04)
    # Over ground the same seconds lie elsewhere: set and drift must not be left out.
    ground = cells.means(0.0, 0.0, 0.25, 10.0)
    off = [abs(one.power_w / (50.0 * one.speed_mps**2) - 1.0) for one in ground]
    assert max(off) > 0.3


def test_what_is_kept_is_bounded_and_brief_bands_are_left_out() -> None:
    cells = VelocityCells()
    for _ in range(5):
        cells.fold(ridden())
    assert len(cells._rows) <= (7.0 / CELL_MPS) ** 2
    assert not cells.means(*WATER, 0.25, 1e6)
    assert not VelocityCells().means(*WATER, 0.25, 0.0)
