"""Bands of speed: they contain everything measured, in whatever parts it comes."""

import numpy as np
import pytest

from onboard.contract.figure import Unknown
from onboard.efficiency.trip.speed_bands import SpeedBands
from tests.onboard.efficiency.riding.made_riding import settled


def test_bands_contain_everything_measured() -> None:
    rng = np.random.default_rng(2)
    power, speed = rng.uniform(50, 900, 5000), rng.uniform(0, 4.2, 5000)
    power[rng.random(5000) < 0.05] = np.nan
    whole, pieces = SpeedBands(), SpeedBands()
    every = settled(power, speed)
    whole.fold(every)
    for begin in range(0, len(every), 10):
        pieces.fold(every.part(begin, begin + 10))
    table = whole.table(np.zeros((5, 5)), 0.01)
    known = np.isfinite(power)
    assert sum(band.energy_wh for band in table) == pytest.approx(np.nansum(power) / 3600)
    assert sum(band.distance_m for band in table) == pytest.approx(speed[known].sum())
    assert sum(band.seconds for band in table) == known.sum()
    for band in table:
        inside = known & (speed >= band.speed_low_mps) & (speed < band.speed_high_mps)
        assert band.seconds == inside.sum()
        if not isinstance(band.wh_per_km, Unknown):
            assert band.wh_per_km.low < band.wh_per_km.value < band.wh_per_km.high
    assert [band.speed_high_mps - band.speed_low_mps for band in table] == [0.25] * len(table)
    again = pieces.table(np.zeros((5, 5)), 0.01)
    assert [band.energy_wh for band in again] == pytest.approx([b.energy_wh for b in table])
