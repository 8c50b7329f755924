"""The lap that is being ridden."""

import math

import pytest

from onboard.coach.lap_riding import Lap, LapRiding
from onboard.coach.stretch import Second


def circles(
    turns: float, radius_m: float = 30.0, speed_mps: float = 2.0, east_mps: float = 0.0
) -> list[Second]:
    """Return seconds of turns round a circle, in a water current to the east."""
    step = speed_mps / radius_m
    count = round(2.0 * math.pi * turns / step)
    east = [speed_mps * math.sin(step * n) + east_mps for n in range(count)]
    north = [speed_mps * math.cos(step * n) for n in range(count)]
    return [Second(n + 1.0, 400.0, east[n], north[n]) for n in range(count)]


def laps_of(seconds: list[Second]) -> list[Lap]:
    riding = LapRiding()
    return [lap for second in seconds if (lap := riding.fold(second)) is not None]


def test_each_round_is_a_lap_of_the_circle_s_length() -> None:
    laps = laps_of(circles(3.5))
    assert len(laps) == 3
    for lap in laps:
        assert lap.length_m == pytest.approx(2.0 * math.pi * 30.0, rel=0.05)
    # They follow each other without a pause.
    assert laps[1].start_s == laps[0].end_s


def test_a_lap_in_progress_tells_what_is_left_by_the_last_one() -> None:
    riding = LapRiding()
    for second in circles(1.6):
        riding.fold(second)
    assert riding.now is not None
    assert riding.course_m is not None
    assert 0.3 < riding.now.length_m / riding.course_m < 0.6


def test_there_and_back_on_one_line_and_a_straight_are_no_laps() -> None:
    straight = [Second(n + 1.0, 400.0, 2.0, 0.0) for n in range(200)]
    back = [Second(n + 201.0, 400.0, -2.0, 0.0) for n in range(200)]
    assert laps_of(straight + back) == []


@pytest.mark.parametrize("what", ["rest", "power"])
def test_a_lap_is_given_up(what: str) -> None:
    seconds = circles(1.5)
    middle = len(seconds) // 2 - 20
    for n in range(middle, middle + 15):
        one = seconds[n]
        seconds[n] = (
            Second(one.t_s, 0.0, 0.0, 0.0)
            if what == "rest"
            else Second(one.t_s, 700.0, one.east_mps, one.north_mps)
        )
    assert len(laps_of(circles(1.5))) == 1
    assert laps_of(seconds) == []
