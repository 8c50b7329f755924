"""Distance and time under way."""

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given
from hypothesis import strategies as st

from onboard.efficiency.distance import DistanceMeter
from onboard.efficiency.moving import MovingTimer

NAN = float("nan")


def odometer(t_s, speed, lat=None, lon=None, blocks=1) -> DistanceMeter:
    meter = DistanceMeter()
    t_s, speed = np.asarray(t_s, float), np.asarray(speed, float)
    lat = np.full(len(t_s), NAN) if lat is None else np.asarray(lat, float)
    lon = np.full(len(t_s), NAN) if lon is None else np.asarray(lon, float)
    columns = (np.array_split(column, blocks) for column in (t_s, speed, lat, lon))
    for part in zip(*columns, strict=True):
        meter.fold(*part)
    return meter


def test_steady_speed() -> None:
    meter = odometer(np.arange(0, 3600.1, 0.2), np.full(18001, 2.2), blocks=9)
    assert meter.distance_m.total == pytest.approx(7920.0, rel=1e-9)
    assert meter.max_speed_mps == 2.2
    assert meter.moving.moving_s == pytest.approx(3600.0)


def test_noise_at_rest_is_not_way_made_good() -> None:
    # Doppler noise of 0.05 m/s an axis reads as 0.0627 m/s (mean of a Rayleigh variable:
    # sigma sqrt(pi/2)), 225.6 m in an hour if it counted.
    rng = np.random.default_rng(3)
    speed = np.hypot(*rng.normal(0, 0.05, (2, 18_000)))
    assert speed.mean() == pytest.approx(0.05 * np.sqrt(np.pi / 2), rel=0.02)
    meter = odometer(np.arange(18_000) * 0.2, np.round(speed, 2))
    assert meter.distance_m.total < 15.0
    assert meter.moving.moving_s == 0.0


def test_a_gap_is_bridged_by_the_line_between_its_ends() -> None:
    end = Geodesic.WGS84.Direct(45.0, -30.0, 70.0, 150.0)
    meter = odometer(
        [0, 1, 2, 62, 63],
        [2, 2, 2, 2, 2],
        [45.0, 45.0, 45.0, end["lat2"], end["lat2"]],
        [-30.0, -30.0, -30.0, end["lon2"], end["lon2"]],
    )
    assert meter.bridged_m == pytest.approx(150.0, rel=1e-6)
    assert meter.distance_m.total == pytest.approx(156.0, rel=1e-6)


def test_a_line_that_no_craft_could_have_made_bridges_nothing() -> None:
    meter = odometer([0, 1, 11], [2, 2, 2], [45.0, 45.0, 0.0], [-30.0, -30.0, 0.0])
    assert meter.bridged_m == pytest.approx(20.0)


def test_a_gap_without_positions_is_bridged_by_the_mean_speed() -> None:
    meter = odometer([0, 1, 11], [2, 2, 3])
    assert meter.bridged_m == pytest.approx(25.0)


def test_impossible_speeds_are_counted_not_used() -> None:
    meter = odometer([0, 1, 2, 3], [2, 2, 655.0, 2])
    assert meter.distance_m.total == pytest.approx(6.0)
    assert meter.gate.impossible == 1
    assert meter.max_speed_mps == 2


def moving(t_s, speed, cuts=()) -> float:
    timer = MovingTimer()
    for first, last in zip([0, *cuts], [*cuts, len(t_s)], strict=True):
        timer.fold(np.asarray(t_s[first:last], float), np.asarray(speed[first:last], float))
    return timer.moving_s


def test_moving_is_over_a_third_of_a_metre_a_second_for_five_seconds() -> None:
    t_s = np.arange(20.0)
    assert moving(t_s, [0] * 5 + [1] * 6 + [0] * 9) == 5.0
    assert moving(t_s, [0] * 5 + [1] * 5 + [0] * 10) == 0.0
    assert moving(t_s, [0.3] * 20) == 0.0
    assert moving(t_s, [1] * 20) == 19.0


def slow_moving(t_s, speed) -> float:
    """The same, one sample at a time."""
    total, begin, last = 0.0, None, None
    for t, v in zip(t_s, speed, strict=True):
        if begin is not None and (v <= 0.3 or t - last > 5.0):
            total += last - begin if last - begin >= 5.0 else 0.0
            begin = None
        if v > 0.3 and begin is None:
            begin = t
        last = t
    return total + (last - begin if begin is not None and last - begin >= 5.0 else 0.0)


@given(
    st.lists(
        st.tuples(st.sampled_from([0.5, 1.0, 3.0, 7.0]), st.sampled_from([0.0, 0.2, 1.0, 1.0])),
        min_size=1,
        max_size=60,
    ),
    st.data(),
)
def test_time_under_way_equals_a_plain_count_for_any_cut(steps, data) -> None:
    t_s = np.cumsum([step[0] for step in steps])
    speed = [step[1] for step in steps]
    cuts = sorted(data.draw(st.lists(st.integers(0, len(steps)), max_size=8)))
    assert moving(t_s, speed, cuts) == pytest.approx(slow_moving(t_s, speed))
