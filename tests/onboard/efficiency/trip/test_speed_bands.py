"""Bands of speed: they contain everything measured, in whatever parts it comes."""

import itertools

import numpy as np
import pytest

from onboard.contract.figure import Unknown
from onboard.efficiency.trip.speed_bands import EDGES_MPS, WIDTHS_MPS, SpeedBands
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
    table = whole.ridden(np.zeros((5, 5)), 0.01).bands()
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
    again = pieces.ridden(np.zeros((5, 5)), 0.01).bands()
    assert [band.energy_wh for band in again] == pytest.approx([b.energy_wh for b in table])


def ridden(power: np.ndarray, speed: np.ndarray) -> SpeedBands:
    bands = SpeedBands()
    bands.fold(settled(power, speed))
    return bands


@pytest.mark.parametrize("width_mps", WIDTHS_MPS)
@pytest.mark.parametrize("least_s", [0.0, 10.0, 200.0])
def test_bands_of_any_width_hold_exactly_the_seconds_between_their_ends(
    width_mps: float, least_s: float
) -> None:
    rng = np.random.default_rng(8)
    speed = np.abs(rng.normal(2.2, 0.9, 3000))
    power = 40.0 + 30.0 * speed**3
    table = ridden(power, speed).ridden(np.zeros((5, 5)), 0.01).bands(width_mps, least_s)
    assert sum(band.seconds for band in table) == len(speed)
    assert sum(band.energy_wh for band in table) == pytest.approx(power.sum() / 3600, rel=1e-12)
    assert sum(band.distance_m for band in table) == pytest.approx(speed.sum(), rel=1e-12)
    for band in table:
        inside = (speed >= band.speed_low_mps) & (speed < band.speed_high_mps)
        assert band.seconds == inside.sum() >= least_s
        assert band.energy_wh == pytest.approx(power[inside].sum() / 3600, rel=1e-12)
        for end in (band.speed_low_mps, band.speed_high_mps):
            assert end / width_mps == pytest.approx(round(end / width_mps), abs=1e-9)
    for one, other in itertools.pairwise(table):
        assert one.speed_high_mps <= other.speed_low_mps + 1e-9


def test_every_edge_of_every_width_is_an_edge_of_a_cell() -> None:
    for width_mps in WIDTHS_MPS:
        edges = np.arange(0.0, EDGES_MPS[-1], width_mps)
        nearest = np.abs(edges[:, None] - EDGES_MPS[None, :]).min(axis=1)
        assert nearest.max() < 1e-8


def test_a_brief_band_joins_the_nearer_neighbour_and_then_the_shorter() -> None:
    # 1 s at 0.6 m/s adjoins both; 3 s at 3.1 m/s adjoins none, and 2.6 m/s is the nearest.
    speed = np.repeat([0.3, 0.6, 0.8, 2.6, 3.1], [30, 1, 20, 40, 3])
    table = ridden(np.full(len(speed), 90.0), speed).ridden(np.zeros((5, 5)), 0.01).bands(0.25, 10)
    found = [(band.speed_low_mps, band.speed_high_mps, band.seconds) for band in table]
    assert found == [(0.25, 0.5, 30), (0.5, 1.0, 21), (2.5, 3.25, 43)]


def test_a_ride_of_a_few_seconds_is_one_band() -> None:
    few = ridden(np.full(4, 90.0), np.array([1.0, 2.0, 3.0, 4.0]))
    (band,) = few.ridden(np.zeros((5, 5)), 0.01).bands(0.25, 10.0)
    assert (band.speed_low_mps, band.speed_high_mps, band.seconds) == (1.0, 4.25, 4)
