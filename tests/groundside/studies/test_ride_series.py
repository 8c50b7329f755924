"""The series of a ride: pieces independent of the blocks, and the track's position."""

import functools
import itertools
import json
import os
from pathlib import Path

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given
from hypothesis import strategies as st

from groundside.reports.review import parallel_review
from groundside.reports.review.summary import SeriesRecorder, review
from groundside.studies.ride_series import (
    ENERGY,
    KEY,
    LATITUDE,
    LONGITUDE,
    PIECES_MOST,
    SECONDS,
    WAY,
    PieceMaker,
    Series,
    track,
)
from onboard.contract.trip_line import TripLine
from onboard.efficiency.sources.settled_seconds import SettledSeconds
from onboard.profile import Profile, load_profile, profile_for
from tests.groundside.reports.review.rides import season_outcomes

LOGS = Path(__file__).parents[3] / "replay_logs"


def settled(t_s: np.ndarray, power_w, speed_mps, latitude_deg, longitude_deg) -> SettledSeconds:
    unknown = np.full(len(t_s), np.nan)

    def column(value) -> np.ndarray:
        return np.broadcast_to(np.asarray(value, dtype=float), len(t_s)).copy()

    return SettledSeconds(
        t_s=t_s,
        power_w=column(power_w),
        amps_a=unknown,
        volts_v=unknown,
        charge_ah=unknown,
        east_mps=unknown,
        north_mps=unknown,
        distance_m=column(speed_mps),
        latitude_deg=column(latitude_deg),
        longitude_deg=column(longitude_deg),
        throttle_fraction=unknown,
        energy_wh=unknown,
        made_m=unknown,
    )


def varied(count: int) -> SettledSeconds:
    """Return seconds with gaps in power, in speed, in place and in time."""
    random = np.random.default_rng(4)
    t_s = np.arange(1.0, count + 1)
    t_s[count // 2 :] += 500.0
    power, speed = random.uniform(0, 900, count), random.uniform(0, 4, count)
    latitude, longitude = 45 + random.uniform(0, 0.01, count), random.uniform(0, 0.01, count)
    power[random.random(count) < 0.1] = np.nan
    speed[random.random(count) < 0.1] = np.nan
    latitude[random.random(count) < 0.3] = np.nan
    return settled(t_s, power, speed, latitude, longitude)


def series(maker: PieceMaker) -> Series:
    return Series("", TripLine(), maker.every_s, maker.rows)


@pytest.mark.slow
@given(st.lists(st.integers(0, 2500), max_size=12))
def test_pieces_do_not_depend_on_how_the_seconds_came(cuts: list[int]) -> None:
    all_ = varied(2500)
    whole, cut = PieceMaker(), PieceMaker()
    whole.fold(all_)
    bounds = [0, *sorted(cuts), 2500]
    for begin, end in itertools.pairwise(bounds):
        cut.fold(all_.part(begin, end))
    assert cut.every_s == whole.every_s
    np.testing.assert_array_equal(cut.rows[:, KEY], whole.rows[:, KEY])
    np.testing.assert_allclose(cut.rows, whole.rows, rtol=1e-12)


def test_nothing_is_lost_by_merging() -> None:
    all_ = varied(50_000)
    maker = PieceMaker()
    maker.fold(all_)
    known = np.isfinite(all_.power_w) & np.isfinite(all_.distance_m)
    assert PIECES_MOST / 2 - 10 < len(maker.rows) <= PIECES_MOST
    assert maker.rows[:, SECONDS].sum() == known.sum()
    assert maker.rows[:, ENERGY].sum() == pytest.approx(all_.power_w[known].sum() / 3600)
    assert maker.rows[:, WAY].sum() == pytest.approx(all_.distance_m[known].sum())
    # Each piece ends where the craft was last seen in it.
    located = np.isfinite(all_.latitude_deg)
    for row in maker.rows[::50]:
        inside = np.ceil(all_.t_s / maker.every_s) == row[KEY]
        assert row[LATITUDE] == all_.latitude_deg[inside & located][-1]
        assert row[LONGITUDE] == all_.longitude_deg[inside & located][-1]


def test_the_track_lies_where_the_craft_was() -> None:
    maker = PieceMaker()
    latitude, longitude = 59.0 + np.arange(40) * 1e-4, 179.9996 + np.arange(40) * 2e-5
    longitude = (longitude + 180) % 360 - 180  # over the antimeridian
    maker.fold(settled(np.arange(1.0, 41), 100, 2, latitude, longitude))
    found = track(series(maker))
    assert found is not None
    # Karney's geodesics (GeographicLib) from the first place to each.
    for n in (1, 20, 39):
        line = Geodesic.WGS84.Inverse(latitude[0], longitude[0], latitude[n], longitude[n])
        azimuth = np.radians(line["azi1"])
        assert found.east_m[n] == pytest.approx(line["s12"] * np.sin(azimuth), abs=0.02)
        assert found.north_m[n] == pytest.approx(line["s12"] * np.cos(azimuth), abs=0.02)
    assert not found.joined[0]
    assert found.joined[1:].all()


def test_the_consumption_of_a_place_is_of_the_seconds_around_it() -> None:
    maker = PieceMaker()
    power = np.where(np.arange(200) < 100, 360.0, 720.0)  # 50, then 100 Wh/km at 2 m/s
    maker.fold(settled(np.arange(1.0, 201), power, 2.0, 45 + np.arange(200) * 1e-5, 7.0))
    found = track(series(maker))
    assert found is not None
    assert found.wh_per_km[:89] == pytest.approx(50)
    assert found.wh_per_km[111:] == pytest.approx(100)
    assert found.wh_per_km[99] == pytest.approx((11 * 50 + 10 * 100) / 21)


def test_over_a_gap_no_line_is_drawn_and_at_rest_no_consumption_is_claimed() -> None:
    maker = PieceMaker()
    t_s = np.concatenate([np.arange(1.0, 31), np.arange(331.0, 361)])
    speed = np.where(t_s < 100, 0.05, 3.0)
    maker.fold(settled(t_s, 300.0, speed, 45 + t_s * 1e-5, 7.0))
    found = track(series(maker))
    assert found is not None
    assert np.flatnonzero(~found.joined).tolist() == [0, 30]
    assert np.isnan(found.wh_per_km[:30]).all()
    assert found.wh_per_km[30:] == pytest.approx(300 / 3.6 / 3)


def test_without_positions_there_is_no_track() -> None:
    maker = PieceMaker()
    assert track(series(maker)) is None
    maker.fold(settled(np.arange(1.0, 9), 100.0, 2.0, np.nan, np.nan))
    assert track(series(maker)) is None


@pytest.mark.parametrize("name", ["harbour_loop", "board_sprints"])
def test_pieces_and_track_of_a_simulated_ride_agree_with_its_truth(name: str) -> None:
    drawn = SeriesRecorder()
    log, craft = LOGS / f"{name}.tlog", load_profile(LOGS / f"{name}.toml")
    result = review(log, craft, recorder=drawn)
    assert result == review(log, craft)  # the recorder changes nothing
    truth = json.loads((LOGS / f"{name}.truth.json").read_text())
    kept = drawn.series
    assert kept is not None
    assert kept.craft == craft.craft.name
    assert kept.pieces[:, ENERGY].sum() == pytest.approx(truth["reported_energy_wh"], rel=0.01)
    found = track(kept)
    assert found is not None
    way = np.hypot(np.diff(found.east_m), np.diff(found.north_m)).sum()
    assert way == pytest.approx(truth["under_way_distance_m"], rel=0.02)


def test_an_empty_log_draws_nothing(tmp_path: Path) -> None:
    from tests.small_streams import GROUND_STATION, INVALID, Sender, records

    station = Sender(255, 190)
    path = tmp_path / "log"
    path.write_bytes(records([station.heartbeat(GROUND_STATION, INVALID) for _ in range(5)]))
    drawn = SeriesRecorder()
    review(path, Profile(), recorder=drawn)
    assert drawn.series is not None
    assert track(drawn.series) is None


@pytest.mark.slow
def test_the_series_are_the_same_on_all_cores(monkeypatch: pytest.MonkeyPatch) -> None:
    alone = season_outcomes()
    monkeypatch.setattr(parallel_review, "WORTH_BYTES", 0)
    monkeypatch.setattr(os, "cpu_count", lambda: 2)
    paths = [one.path for one in alone]
    together = parallel_review.review_logs(paths, functools.partial(profile_for, None), draws=True)
    for one, other in zip(alone, together, strict=True):
        assert one == other
        if one.series is None or other.series is None:
            assert one.series is other.series is None
            continue
        np.testing.assert_array_equal(one.series.pieces, other.series.pieces)
        assert one.series.line.energy_wh == other.series.line.energy_wh
