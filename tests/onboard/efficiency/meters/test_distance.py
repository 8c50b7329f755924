"""Distance and time under way."""

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import lfilter

from onboard.efficiency.meters.distance import DistanceMeter
from onboard.efficiency.meters.moving import MovingTimer

NAN = float("nan")


def odometer(t_s, speed, lat=None, lon=None, *, course=0.0, piece_s=10.0) -> DistanceMeter:
    """Fold in short pieces of time, as the engine does."""
    meter = DistanceMeter()
    t_s, speed = np.asarray(t_s, float), np.asarray(speed, float)
    course = np.broadcast_to(np.radians(course), t_s.shape)
    lat = np.full(len(t_s), NAN) if lat is None else np.asarray(lat, float)
    lon = np.full(len(t_s), NAN) if lon is None else np.asarray(lon, float)
    cuts = np.flatnonzero(np.diff(t_s // piece_s)) + 1
    columns = (t_s, speed * np.sin(course), speed * np.cos(course), lat, lon)
    for part in zip(*(np.split(column, cuts) for column in columns), strict=True):
        meter.fold(*part)
    return meter


def wander(rng, count: int, step_s: float, sd: float, memory_s: float) -> np.ndarray:
    """Return a first-order Gauss-Markov series, like a receiver's velocity error."""
    keep = np.exp(-step_s / memory_s)
    kicks = rng.normal(0, sd * np.sqrt(1 - keep**2), count)
    kicks[0] = rng.normal(0, sd)
    return lfilter([1.0], [1.0, -keep], kicks)


def noisy(speed, seconds, sd, memory_s, seed, *, course_degps=0.0, rate=5) -> DistanceMeter:
    """Return a meter for a receiver with correlated velocity errors, rounded to cm/s."""
    rng = np.random.default_rng(seed)
    t_s = np.arange(seconds * rate) / rate
    heading = np.radians(40 + course_degps * t_s)
    east = speed * np.sin(heading) + wander(rng, len(t_s), 1 / rate, sd, memory_s)
    north = speed * np.cos(heading) + wander(rng, len(t_s), 1 / rate, sd, memory_s)
    shown = np.round(np.hypot(east, north), 2)
    return odometer(t_s, shown, course=np.degrees(np.arctan2(east, north)))


def test_steady_speed() -> None:
    meter = odometer(np.arange(0, 3600.1, 0.2), np.full(18001, 2.2), course=77.0)
    assert meter.distance_m == pytest.approx(7920.0, rel=1e-5)
    assert meter.track.max_speed_mps == pytest.approx(2.2)
    assert meter.moving.moving_s == pytest.approx(3600.0)


def test_noise_at_rest_is_not_counted_as_distance() -> None:
    # Doppler noise of 0.05 m/s an axis reads as 0.0627 m/s (mean of a Rayleigh variable:
    # sigma sqrt(pi/2)), 225.6 m in an hour if it counted.
    rng = np.random.default_rng(3)
    assert np.hypot(*rng.normal(0, 0.05, (2, 18_000))).mean() == pytest.approx(0.0627, rel=0.02)
    for memory_s in (0.01, 2.0, 60.0):
        meter = noisy(0.0, 1800, 0.05, memory_s, 3)
        assert meter.distance_m < 15.0
        assert meter.moving.moving_s == 0.0


@pytest.mark.parametrize("speed", [0.05, 0.1])
def test_a_slow_drift_at_anchor_lies_within_the_interval(speed: float) -> None:
    meter = noisy(speed, 1800, 0.05, 2.0, seed=4)
    assert meter.distance_m < 15.0
    assert meter.figure().high > speed * 1800 * 0.95


@pytest.mark.slow
def test_the_upper_end_covers_slow_drifts_with_whatever_noise() -> None:
    for seed in range(12):
        speed = 0.02 + 0.01 * seed
        assert noisy(speed, 1800, 0.05, 2.0, seed).figure().high > speed * 1800


def test_a_lasting_drift_below_the_gate_counts() -> None:
    assert noisy(0.18, 1800, 0.02, 2.0, seed=4).distance_m == pytest.approx(324, rel=0.05)


@pytest.mark.parametrize(("sd", "memory_s"), [(0.05, 0.01), (0.05, 2.0), (0.1, 2.0), (0.08, 4.0)])
def test_noise_does_not_lengthen_a_slow_ride(sd: float, memory_s: float) -> None:
    # The plain sum of speeds is too large by sd^2 / 2v: 2 % for 0.1 m/s at 0.5 m/s, with white
    # noise; the issue is the mean over rides, so a few are taken.
    errors = [noisy(0.5, 1800, sd, memory_s, seed).distance_m / 900 - 1 for seed in range(4)]
    assert abs(np.mean(errors)) < 0.01


def test_a_circle_has_its_true_length() -> None:
    meter = noisy(2.0, 1800, 0.03, 1.0, seed=1, course_degps=9.0)
    assert meter.distance_m == pytest.approx(3600, rel=4e-3)


def test_waves_are_not_counted_as_distance() -> None:
    t_s = np.arange(0, 1800, 0.2)
    surge = 0.4 * np.sin(2 * np.pi * t_s / 3.1)
    sway = 0.4 * np.cos(2 * np.pi * t_s / 2.7)
    speed, side = 2.0 + surge, sway
    shown = np.hypot(speed, side)
    assert np.trapezoid(shown, t_s) > 3600 * 1.009
    meter = odometer(t_s, shown, course=np.degrees(np.arctan2(side, speed)))
    assert meter.distance_m == pytest.approx(3600, rel=3e-3)


@pytest.mark.slow
@pytest.mark.parametrize(("sd", "memory_s"), [(0.03, 1.0), (0.05, 2.0), (0.08, 4.0)])
def test_the_interval_of_a_distance_has_its_coverage_and_is_narrow(
    sd: float, memory_s: float
) -> None:
    # Against an estimator that knows the noise: variance 2 sd^2 memory x time (Gauss-Markov).
    meters = [noisy(2.0, 900, sd, memory_s, seed, rate=2) for seed in range(150)]
    figures = [meter.figure() for meter in meters]
    inside = np.mean([figure.low <= 1799.0 <= figure.high for figure in figures])
    assert 0.90 <= inside <= 1.0
    informed = 1.96 * np.sqrt(2 * sd**2 * memory_s * 900)
    widths = [(figure.high - figure.low) / 2 for figure in figures]
    assert np.median(widths) < 1.3 * informed


def test_a_gap_is_bridged_by_the_line_between_its_ends() -> None:
    end = Geodesic.WGS84.Direct(45.0, -30.0, 70.0, 150.0)
    meter = odometer(
        [0, 1, 2, 62, 63],
        [2, 2, 2, 2, 2],
        [45.0, 45.0, 45.0, end["lat2"], end["lat2"]],
        [-30.0, -30.0, -30.0, end["lon2"], end["lon2"]],
        course=70.0,
    )
    assert meter.bridged_m == pytest.approx(150.0, rel=1e-6)
    assert meter.distance_m == pytest.approx(156.0, rel=2e-4)


def test_a_gap_with_an_impossible_line_is_not_bridged() -> None:
    meter = odometer([0, 1, 11], [2, 2, 2], [45.0, 45.0, 0.0], [-30.0, -30.0, 0.0])
    assert meter.bridged_m == pytest.approx(20.0)


def test_a_gap_without_positions_is_bridged_by_the_mean_speed() -> None:
    meter = odometer([0, 1, 11], [2, 2, 3])
    assert meter.bridged_m == pytest.approx(25.0)


def test_impossible_speeds_are_counted_not_used() -> None:
    meter = odometer([0, 1, 2, 3], [2, 2, 655.0, 2])
    assert meter.distance_m == pytest.approx(6.0, rel=1e-3)
    assert meter.gate.impossible == 1
    assert meter.track.max_speed_mps == pytest.approx(2)


def moving(t_s, speed, cuts=()) -> float:
    timer = MovingTimer()
    for first, last in zip([0, *cuts], [*cuts, len(t_s)], strict=True):
        timer.fold(np.asarray(t_s[first:last], float), np.asarray(speed[first:last], float))
    return timer.moving_s


def test_moving_is_over_0_3_mps_for_five_seconds() -> None:
    t_s = np.arange(20.0)
    assert moving(t_s, [0] * 5 + [1] * 6 + [0] * 9) == 5.0
    assert moving(t_s, [0] * 5 + [1] * 5 + [0] * 10) == 0.0
    assert moving(t_s, [0.3] * 20) == 0.0
    assert moving(t_s, [1] * 20) == 19.0


def slow_moving(t_s, speed) -> float:
    """Return the time under way, counted one sample at a time."""
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
def test_time_under_way_equals_a_plain_count_for_any_partition(steps, data) -> None:
    t_s = np.cumsum([step[0] for step in steps])
    speed = [step[1] for step in steps]
    cuts = sorted(data.draw(st.lists(st.integers(0, len(steps)), max_size=8)))
    assert moving(t_s, speed, cuts) == pytest.approx(slow_moving(t_s, speed))
