"""Straight stretches: turns, settling, bends, gaps, standing still, power steps."""

import numpy as np
import pytest

from onboard.efficiency.trial.seconds import Seconds
from onboard.efficiency.trial.stretches import smoothed, straight
from tests.onboard.efficiency.trial.made_legs import made_seconds


def way(course_deg: np.ndarray, speed_mps: np.ndarray | float = 2.0, **more) -> Seconds:
    course = np.radians(course_deg)
    speed = np.broadcast_to(speed_mps, len(course))
    return made_seconds(speed * np.sin(course), speed * np.cos(course), **more)


def bounds(seconds: Seconds, *, marked: bool) -> list[tuple[float, float]]:
    return [(float(one.t_s[0]), float(one.t_s[-1])) for one in straight(seconds, marked=marked)]


BOTH = pytest.mark.parametrize("marked", [False, True])


@BOTH
def test_there_and_back(marked: bool) -> None:
    turn = np.linspace(30.0, 210.0, 20)
    course = np.concatenate([np.full(90, 30.0), turn, np.full(90, 210.0)])
    (first, last), (second, end) = bounds(way(course), marked=marked)
    # The turn lasts from 91 to 110; seconds close to it may be dropped, but not many more.
    assert first <= 6
    assert 78 <= last <= 92
    assert 108 <= second <= 122
    assert end >= 195


@BOTH
def test_courses_around_north_are_continuous(marked: bool) -> None:
    course = 360.0 + 4.0 * np.sin(np.arange(120) / 3.0)
    assert len(bounds(way(course % 360.0), marked=marked)) == 1


@pytest.mark.parametrize("swing_deg", [5.0, 10.0, 14.0])
def test_a_run_that_weaves_is_one_run(swing_deg: float) -> None:
    weave = swing_deg * np.sin(2.0 * np.pi * np.arange(120) / 47.0)
    turn = np.linspace(30.0, 210.0, 20)
    course = np.concatenate([30.0 + weave, turn, 210.0 + weave])
    (first, last), (second, end) = bounds(way(course), marked=True)
    assert first <= 6
    assert 108 <= last <= 122
    assert 138 <= second <= 152
    assert end >= 250


@pytest.mark.parametrize("turn_s", [12, 30, 60, 90])
def test_a_turn_is_not_joined_to_the_run(turn_s: int) -> None:
    course = np.concatenate([np.full(90, 30.0), np.linspace(30.0, 210.0, turn_s),
                             np.full(90, 210.0)])  # fmt: skip
    (_, last), (second, _) = bounds(way(course), marked=True)
    # Of a turn of two degrees a second and more, 20 degrees at the most.
    assert last <= 92 + turn_s / 9
    assert second >= 88 + turn_s - turn_s / 9


def test_a_stop_on_the_way_is_not_part_of_a_run() -> None:
    speed = np.repeat([2.0, 0.1, 2.0], [60, 10, 60])
    ways = bounds(way(np.full(130, 30.0), speed), marked=True)
    assert len(ways) == 2
    assert ways[0][1] <= 62
    assert ways[1][0] >= 68


@BOTH
def test_settling_after_a_turn_is_left_out(marked: bool) -> None:
    speed = 2.0 - 1.2 * np.exp(-np.arange(100) / 8.0)
    ((first, last),) = bounds(way(np.full(100, 30.0), speed), marked=marked)
    # Within 3 % of 2 m/s from 24 s on: 1.2 exp(-t / 8) = 0.06.
    assert 15 <= first <= 31
    assert last >= 94


@BOTH
def test_easing_off_at_the_end_is_left_out(marked: bool) -> None:
    speed = np.concatenate([np.full(80, 2.0), np.linspace(2.0, 1.0, 20)])
    ((first, last),) = bounds(way(np.full(100, 30.0), speed), marked=marked)
    assert first <= 6
    assert 74 <= last <= 86


@BOTH
def test_a_slow_bend_is_cut(marked: bool) -> None:
    course = np.linspace(0.0, 120.0, 240)
    found = straight(way(course), marked=marked)
    assert len(found) >= 2
    for one in found:
        begin, end = (np.degrees(np.arctan2(one.east_mps[n], one.north_mps[n])) for n in (0, -1))
        assert abs(end - begin) < 45.0


@BOTH
def test_standing_still_is_not_a_run(marked: bool) -> None:
    assert bounds(way(np.full(100, 30.0), 0.3), marked=marked) == []
    stop = np.concatenate([np.full(60, 2.0), np.full(30, 0.1), np.full(60, 2.0)])
    found = bounds(way(np.full(150, 30.0), stop), marked=marked)
    assert len(found) == 2
    assert found[0][1] <= 62
    assert found[1][0] >= 89


@BOTH
def test_a_long_gap_ends_a_run_and_a_short_one_does_not(marked: bool) -> None:
    for gap_s, parts in ((10.0, 1), (20.0, 2)):
        t_s = np.concatenate([np.arange(60.0), np.arange(60.0) + 59.0 + gap_s])
        assert len(bounds(way(np.full(120, 30.0), t_s=t_s), marked=marked)) == parts
        # It turned meanwhile.
        course = np.repeat([30.0, 210.0], 60)
        assert len(bounds(way(course, t_s=t_s), marked=marked)) == 2
    for lost_s, parts in ((1, 1), (12, 1), (16, 2)):
        power = np.full(120, 400.0)
        power[60 : 60 + lost_s] = np.nan
        found = bounds(way(np.full(120, 30.0), power_w=power), marked=marked)
        assert len(found) == parts
        assert found[-1][1] - found[0][0] >= 105


@BOTH
def test_without_power_or_speed_there_is_no_run(marked: bool) -> None:
    nothing = np.full(100, np.nan)
    assert bounds(way(np.full(100, 30.0), power_w=nothing), marked=marked) == []
    assert bounds(way(np.full(100, 30.0), nothing), marked=marked) == []
    assert bounds(way(np.empty(0)), marked=marked) == []


def test_a_step_of_power_ends_a_run_that_was_found_and_not_one_that_was_marked() -> None:
    power = np.repeat([400.0, 500.0], 60)
    speed = np.repeat([2.0, 2.04], 60)
    seconds = way(np.full(120, 30.0), speed, power_w=power)
    found = bounds(seconds, marked=False)
    assert len(found) == 2
    assert found[0][1] <= 66
    assert found[1][0] >= 55
    ((first, last),) = bounds(seconds, marked=True)
    assert last - first >= 110


@pytest.mark.parametrize(
    ("seconds_s", "marked", "runs"), [(14, True, 0), (16, True, 1), (38, False, 0), (42, False, 1)]
)
def test_how_long_a_run_must_be(seconds_s: int, marked: bool, runs: int) -> None:
    assert len(bounds(way(np.full(seconds_s, 30.0)), marked=marked)) == runs


def test_gusts_do_not_cut_a_run_to_nothing() -> None:
    rng = np.random.default_rng(4)
    speed = 2.0 + 0.12 * rng.standard_normal(100)
    ((first, last),) = bounds(way(np.full(100, 30.0), speed), marked=True)
    assert last - first >= 80


def test_a_moving_mean() -> None:
    assert smoothed(np.array([0.0, 0.0, 10.0, 0.0, 0.0])).tolist() == pytest.approx(
        [10 / 3, 2.5, 2.0, 2.5, 10 / 3]
    )
    assert len(smoothed(np.empty(0))) == 0
