"""Laps in simulated days: every shape, either way round, marked or found."""

import numpy as np
import pytest

from onboard.efficiency.trial.laps import NoLap, laps_in
from onboard.efficiency.trial.leg import Leg, lap_leg
from onboard.efficiency.trial.seconds import Seconds
from tests.craft.lap_day import SHAPES, LapsRidden
from tests.onboard.efficiency.trial.made_laps import day
from tests.onboard.efficiency.trial.made_legs import made_seconds

EVERY_SHAPE = pytest.mark.parametrize("shape", SHAPES)
EITHER_WAY = pytest.mark.parametrize("clockwise", [True, False])
QUIET = {"lap_sd": 0.0, "power_sd": 0.0}


def found(seconds: Seconds, *, marked: bool = False) -> list[Leg]:
    return [lap_leg(one, "a") for one in laps_in(seconds, marked=marked).laps]


def none_in(seconds: Seconds, *, marked: bool = False) -> NoLap:
    """Return the one round that is nearly a lap, where there is no lap."""
    result = laps_in(seconds, marked=marked)
    assert result.laps == []
    (one,) = result.no_laps
    return one


def stint(seconds: Seconds, ridden: LapsRidden, number: int = 0) -> Seconds:
    _, begin_s, end_s = ridden.stints[number]
    return seconds.between(begin_s, end_s)


def marked_lap(seconds: Seconds, ridden: LapsRidden, number: int = 0) -> Seconds:
    _, begin_s, end_s = ridden.laps[number]
    return seconds.between(begin_s, end_s)


def check(laps: list[Leg], ridden: LapsRidden, clockwise: bool = True) -> None:
    """Check laps against the truth: length, speed at equal power, way round."""
    for one in laps:
        # Corners are rounded, and the first seconds are not in a lap.
        assert one.lap_m == pytest.approx(500.0, rel=0.06)
        speed_mps = ridden.speed_mps["a"] * (one.power_w / 400.0) ** 0.28
        # (0.15 / 2.25)^2 of the water, and the first seconds.
        assert one.speed_mps == pytest.approx(speed_mps, rel=0.02)
        assert (one.lap_area_m2 > 0.0) is clockwise
        assert (one.east_mps, one.north_mps) == (0.0, 0.0)


@EITHER_WAY
@EVERY_SHAPE
@pytest.mark.parametrize("count", [1, 3])
def test_laps_between_the_way_out_and_the_way_back(shape: str, clockwise: bool, count: int) -> None:
    seconds, ridden = day(shape=shape, clockwise=clockwise, laps_each=count, **QUIET)
    laps = found(seconds)
    assert len(laps) == count
    check(laps, ridden, clockwise)


@EITHER_WAY
@EVERY_SHAPE
def test_a_marked_lap_is_one_lap(shape: str, clockwise: bool) -> None:
    seconds, ridden = day(shape=shape, clockwise=clockwise, laps_each=2, **QUIET)
    for number in (0, 1):
        laps = found(marked_lap(seconds, ridden, number), marked=True)
        assert len(laps) == 1
        check(laps, ridden, clockwise)


@EVERY_SHAPE
def test_a_mark_around_several_rounds_is_as_many_laps(shape: str) -> None:
    seconds, ridden = day(shape=shape, laps_each=3, **QUIET)
    inside = seconds.between(ridden.laps[0][1], ridden.laps[-1][2])
    laps = found(inside, marked=True)
    assert len(laps) == 3
    check(laps, ridden)


@EVERY_SHAPE
@pytest.mark.parametrize("way_m", [0.0, 150.0])
def test_laps_that_begin_at_a_corner(shape: str, way_m: float) -> None:
    seconds, ridden = day(shape=shape, start=0.0, way_m=way_m, laps_each=2, **QUIET)
    assert len(found(stint(seconds, ridden))) == 2
    assert len(found(marked_lap(seconds, ridden), marked=True)) == 1


@EVERY_SHAPE
def test_laps_with_a_stop_after_each(shape: str) -> None:
    seconds, ridden = day(shape=shape, laps_each=3, stop_s=20.0, **QUIET)
    laps = found(seconds)
    assert len(laps) == 3
    check(laps, ridden)
    for one in laps:
        assert one.power_swing_fraction < 0.05


@pytest.mark.parametrize("lap_m", [200.0, 1500.0])
def test_short_laps_and_long_ones(lap_m: float) -> None:
    seconds, _ = day(lap_m=lap_m, laps_each=3)
    laps = found(seconds)
    assert [one.lap_m for one in laps] == pytest.approx([lap_m] * 3, rel=0.08)


def test_laps_at_the_power_of_the_way_out() -> None:
    seconds, ridden = day(way_power=1.0, laps_each=2, **QUIET)
    laps = found(seconds)
    assert len(laps) == 2
    check(laps, ridden)


def test_gusts_from_lap_to_lap_and_a_strong_current_leave_laps_closed() -> None:
    for seed in range(5):
        seconds, _ = day(seed=seed, laps_each=3, drift_mps=0.5, gust_sd_mps=0.1)
        assert len(found(seconds)) == 3


def test_settling_is_not_in_a_lap() -> None:
    # From rest: the first seconds are slow, and power was held in them.
    seconds, ridden = day(way_m=0.0, hold_sd=0.0, turn_loss=0.0, drift_mps=0.0, **QUIET)
    (one,) = laps_in(marked_lap(seconds, ridden), marked=True).laps
    assert 4.0 <= one.t_s[0] - ridden.laps[0][1] <= 16.0
    speed = np.hypot(one.east_mps, one.north_mps)
    assert speed[:5].mean() > 0.93 * np.median(speed)


@EVERY_SHAPE
def test_a_lap_cut_short_is_no_lap(shape: str) -> None:
    seconds, ridden = day(shape=shape, cut_short={0: 0.8})
    for inside, marked in ((marked_lap(seconds, ridden), True), (seconds, False)):
        short = none_in(inside, marked=marked)
        # The chord across what is missing is shorter than that.
        assert short.missing_fraction is not None
        assert 0.1 <= short.missing_fraction <= 0.23
        assert short.swing_fraction is None
        assert short.start_s == pytest.approx(ridden.laps[0][1], abs=12.0)


def test_two_sides_of_a_triangle_are_a_lap_cut_short() -> None:
    seconds, ridden = day(shape="triangle", start=0.0, cut_short={0: 0.66})
    short = none_in(marked_lap(seconds, ridden), marked=True)
    assert short.missing_fraction == pytest.approx(1.0 / 3.0, abs=0.03)


@EVERY_SHAPE
@pytest.mark.parametrize("dip", [(15.0, 0.2), (25.0, 0.02), (60.0, 0.6)])
def test_a_lap_through_which_power_was_not_held_is_no_lap(
    shape: str, dip: tuple[float, float]
) -> None:
    seconds, ridden = day(shape=shape, dip={0: dip})
    for inside, marked in ((marked_lap(seconds, ridden), True), (seconds, False)):
        swung = none_in(inside, marked=marked)
        assert swung.swing_fraction is not None
        assert swung.swing_fraction > 0.1
        assert swung.missing_fraction is None


def test_a_lap_between_others_through_which_power_was_not_held_is_named() -> None:
    seconds, ridden = day(laps_each=1, order=("a", "a", "a"), dip={1: (20.0, 0.2)}, way_m=0.0)
    result = laps_in(seconds, marked=False)
    assert len(result.laps) == 2
    (swung,) = result.no_laps
    assert swung.start_s == pytest.approx(ridden.laps[1][1], abs=12.0)


def test_a_brief_stop_is_no_matter_of_swing_alone() -> None:
    # Five seconds of 220: 13 % about the mean, and a start from slow.
    seconds, ridden = day(dip={0: (5.0, 0.02)})
    for inside, marked in ((marked_lap(seconds, ridden), True), (seconds, False)):
        swung = none_in(inside, marked=marked)
        assert swung.swing_fraction is not None
        assert swung.swing_fraction < 0.14


def test_a_slip_of_the_hand_for_a_second_is_no_matter() -> None:
    seconds, _ = day(dip={0: (1.0, 0.2)})
    assert len(found(seconds)) == 1


@pytest.mark.parametrize(("lost_s", "count"), [(4, 1), (14, 0), (40, 0)])
def test_a_lap_with_many_unknown_seconds_is_no_lap(lost_s: int, count: int) -> None:
    seconds, ridden = day()
    middle = int(ridden.laps[0][1]) + 100
    for name in ("power_w", "east_mps"):
        gone = getattr(seconds, name).copy()
        gone[middle : middle + lost_s] = np.nan
        some = Seconds(**(vars(seconds) | {name: gone}))
        assert len(found(some)) == count
        assert len(found(marked_lap(some, ridden), marked=True)) == count


def test_a_gap_in_the_stamps_is_a_gap() -> None:
    seconds, ridden = day()
    gone = np.abs(seconds.t_s - ridden.laps[0][1] - 100.0) < 7.0
    assert found(seconds.where(~gone)) == []


def test_little_is_no_lap() -> None:
    for count in (0, 1, 2, 20, 29, 40):
        for marked in (True, False):
            result = laps_in(made_seconds(np.full(count, 2.0)), marked=marked)
            assert (result.laps, result.no_laps) == ([], [])
    still = made_seconds(np.zeros(300), power_w=0.0)
    for marked in (True, False):
        assert laps_in(still, marked=marked).laps == []


def _lap_s(radius_m: float, lasts_s: int, turns: float) -> Seconds:
    course = np.linspace(0.0, 2.0 * np.pi * turns, lasts_s)
    speed = 2.0 * np.pi * radius_m * turns / lasts_s
    return made_seconds(speed * np.sin(course), speed * np.cos(course))


@pytest.mark.parametrize(
    ("lasts_s", "marked", "count"), [(29, True, 0), (34, True, 1), (58, False, 0), (64, False, 1)]
)
def test_how_long_a_lap_must_be(lasts_s: int, marked: bool, count: int) -> None:
    assert len(found(_lap_s(12.0, lasts_s, 1.0), marked=marked)) == count


def test_a_figure_of_eight_is_a_lap_if_it_was_marked() -> None:
    # Bernoulli's lemniscate from the end of a lobe; its length is 5.2441 (2 x 2.62206) times a.
    angle = np.linspace(0.0, 2.0 * np.pi, 20_001)
    east = 100.0 * np.cos(angle) / (1.0 + np.sin(angle) ** 2)
    north = east * np.sin(angle)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(east), np.diff(north)))])
    even = np.linspace(0.0, along[-1], 263)
    seconds = made_seconds(*(np.diff(np.interp(even, along, axis)) for axis in (east, north)))
    (one,) = found(seconds, marked=True)
    assert one.lap_m == pytest.approx(524.41, rel=0.02)
    assert found(seconds) == []
