"""The part of a trip over which energy and distance are both counted, by hand."""

import numpy as np
import pytest

from onboard.efficiency.meters.doppler_noise import BLOCK_S, DopplerNoise
from onboard.efficiency.sources.battery_side import BatterySide
from onboard.efficiency.trip.counted_together import CountedTogether
from tests.onboard.efficiency.meters.test_distance import odometer
from tests.onboard.efficiency.meters.test_energy import meter
from tests.onboard.efficiency.trip.test_consumption_windows import power, speed


@pytest.mark.parametrize(
    ("of_power", "of_speed", "begin_s", "end_s"),
    [
        ((0.0, 300.0), (0.0, 300.0), 0.0, 300.0),
        ((0.0, 300.0), (100.0, 300.0), 100.0, 300.0),
        ((60.0, 300.0), (0.0, 300.0), 60.0, 300.0),
        ((0.0, 250.0), (0.0, 300.0), 0.0, 250.0),
        ((60.0, 300.0), (100.0, 250.0), 100.0, 250.0),
    ],
)
def test_a_trip_is_the_part_that_both_meters_counted(of_power, of_speed, begin_s, end_s) -> None:
    both = CountedTogether()
    both.fold(power(*of_power, lambda t_s: 100.0 + t_s), speed(*of_speed))
    found = both.since(both.first)
    seconds_s = end_s - begin_s
    assert found.seconds_s == pytest.approx(seconds_s)
    middle_w = 100.0 + (begin_s + end_s) / 2
    assert found.energy_wh.value == pytest.approx(middle_w * seconds_s / 3600)
    assert found.distance_m.value == pytest.approx(2.0 * seconds_s, rel=1e-3)


def test_meters_that_never_overlap_have_no_part_in_common() -> None:
    both = CountedTogether()
    both.fold(power(0.0, 90.0), speed(100.0, 300.0))
    assert both.since(both.first) is None


def test_a_stretch_has_the_variance_of_its_own_gaps_only() -> None:
    # A gap of a minute in both, then a mark, then another one of half a minute.
    t_s = np.concatenate([np.arange(200.0), 260.0 + np.arange(100.0), 390.0 + np.arange(100.0)])
    both, points = CountedTogether(), []
    for until in (200, 300, 400):
        part = t_s[:until]
        one = BatterySide((meter(part, np.full(until, 50.0), np.full(until, 6.0)),), ("one",))
        way = odometer(part, np.full(until, 2.0), course=90.0)
        both.fold(one, way)
        points.append((both.last, one.bridged_variance_wh2, way.bridged_variance_m2))
    begin, before_wh2, before_m2 = points[1]
    assert (before_wh2 > 0, before_m2 > 0) == (True, True)
    found = both.since(begin)
    assert found.energy_wh.own_variance == pytest.approx(points[2][1] - before_wh2)
    noise = way.noise_variance_m2(both.last.under_way_s - begin.under_way_s)
    assert found.distance_m.own_variance == pytest.approx(points[2][2] - before_m2 + noise)
    # By hand: a quarter of 300 W over half a minute, as variance a third.
    assert found.energy_wh.own_variance == pytest.approx((31 / 3600) ** 2 * 75.0**2 * 31 / 91)


def sideways(noise_mps: float, bend_deg: float, seed: int = 2) -> float:
    """Return S after an hour at 2 m/s with white noise per second, on a bending course."""
    rng = np.random.default_rng(seed)
    course = np.radians(bend_deg) * (np.arange(3600) // BLOCK_S)
    way = 2.0 * np.column_stack([np.sin(course), np.cos(course)])
    found = DopplerNoise()
    found.fold(np.ones(3600, bool), way + rng.normal(0, noise_mps, way.shape))
    return found.long_run_m2ps


def test_noise_is_estimated_on_a_straight_course_and_not_in_a_bend() -> None:
    # White noise of 0.1 m/s in each second: S = 0.01 m^2/s. A second difference shows 0.75 of a
    # noise with memory, so white noise is estimated as 1 / 0.75 of it; one hour's estimate
    # scatters by a fifth, the mean of twelve by 6 %.
    straight = np.mean([sideways(0.1, 0.0, seed) for seed in range(12)])
    assert straight == pytest.approx(0.01 / 0.75, rel=0.19)
    # In a circle the courses of three blocks are no line: the first guess stands.
    assert sideways(0.1, 40.0) == sideways(0.02, 40.0) == pytest.approx(0.01)
