"""The straight stretch that is being ridden, against the runs found afterwards in the log."""

import math

import numpy as np
import pytest

from onboard.coach.stretch import Second, StraightRiding, Stretch
from onboard.efficiency.trial.seconds import Seconds
from onboard.efficiency.trial.stretches import straight


def ridden(*parts: tuple[int, float, float, float], from_deg: float | None = None) -> list[Second]:
    """Return seconds: for each part its length, power, speed, and course at its end [deg]."""
    seconds: list[Second] = []
    course = parts[0][3] if from_deg is None else from_deg
    for count, power_w, speed_mps, end_deg in parts:
        turn = (end_deg - course) / count
        for _ in range(count):
            course += turn
            at = math.radians(course)
            t_s = len(seconds) + 1.0
            seconds.append(Second(t_s, power_w, speed_mps * math.sin(at), speed_mps * math.cos(at)))
    return seconds


def followed(seconds: list[Second]) -> list[Stretch]:
    """Return the stretches, the last one too."""
    riding, ended = StraightRiding(), []
    for second in seconds:
        done = riding.fold(second)
        ended += [done] if done is not None else []
    return ended + ([riding.now] if riding.now is not None else [])


def as_log(seconds: list[Second]) -> Seconds:
    columns = np.array([(s.t_s, s.power_w, s.east_mps, s.north_mps) for s in seconds]).T
    unknown = np.full(len(seconds), np.nan)
    t_s, power_w, east, north = columns
    return Seconds(t_s, power_w, unknown, unknown, east, north, *([unknown] * 5))


def test_there_and_back_are_two_stretches_of_opposite_courses() -> None:
    seconds = ridden((80, 400.0, 2.0, 30.0), (12, 400.0, 2.0, 210.0), (80, 400.0, 2.0, 210.0))
    there, back = followed(seconds)
    assert there.course_deg == pytest.approx(30.0, abs=3.0)
    assert back.course_deg == pytest.approx(210.0, abs=3.0)
    assert there.end_s < 88.0
    assert back.start_s > 92.0


@pytest.mark.parametrize(
    ("what", "parts", "stretches"),
    [
        ("a change of power", [(60, 400.0, 2.0, 30.0), (60, 500.0, 2.2, 30.0)], 2),
        ("a small one", [(60, 400.0, 2.0, 30.0), (60, 410.0, 2.0, 30.0)], 1),
        ("rest", [(60, 400.0, 2.0, 30.0), (20, 0.0, 0.0, 30.0), (60, 400.0, 2.0, 30.0)], 2),
        ("a slow bend", [(60, 400.0, 2.0, 0.0), (60, 400.0, 2.0, 70.0)], 2),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_what_ends_a_stretch(what: str, parts: list, stretches: int) -> None:
    assert len([one for one in followed(ridden(*parts)) if one.seconds >= 10]) == stretches, what


def test_unknown_seconds_and_a_gap_end_a_stretch() -> None:
    seconds = ridden((120, 400.0, 2.0, 30.0))
    unknown = [*seconds[:60], Second(61.0, math.nan, 1.0, 1.7), *seconds[61:]]
    assert len(followed(unknown)) == 2
    assert len(followed(seconds[:50] + seconds[70:])) == 2


@pytest.mark.parametrize("turn_s", [8, 12, 20])
def test_a_stretch_held_long_enough_is_a_run_in_the_log(turn_s: int) -> None:
    """Whatever the coach calls done after 70 s, the comparison takes for a run of about 60 s."""
    seconds = ridden((90, 400.0, 2.0, 0.0), (turn_s, 400.0, 2.0, 180.0), (90, 400.0, 2.0, 180.0))
    riding = StraightRiding()
    for number, second in enumerate(seconds):
        riding.fold(second)
        if number > 100 + turn_s and riding.now is not None and riding.now.ridden_s >= 70.0:
            break
    run = straight(as_log(seconds[: number + 1]), marked=False)[-1]
    assert 55 <= len(run) <= 70
    assert float(run.t_s[0]) > 90.0
