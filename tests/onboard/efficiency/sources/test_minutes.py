"""Minutes of riding: means over a minute, the same for any partition."""

import numpy as np
import pytest

from onboard.efficiency.sources.minutes import EVERY_S, MINUTE_S, Minute, Minutes
from tests.onboard.efficiency.advice.made_seconds import settled


def test_minutes_are_means_and_end_at_whole_multiples() -> None:
    power = np.arange(200.0)
    found = list(Minutes().fold(settled(200, power_w=power)))
    assert [t_s for t_s, _ in found] == list(np.arange(EVERY_S, 201, EVERY_S))
    assert all((minute is None) is (t_s < MINUTE_S) for t_s, minute in found)
    assert found[11][1].power_w == pytest.approx(np.mean(power[60:120]))


def test_any_partition_gives_the_same() -> None:
    rng = np.random.default_rng(1)
    ride = settled(400, power_w=rng.normal(300.0, 20.0, 400))
    whole = list(Minutes().fold(ride))
    for cuts in ([7], [59, 60, 61], list(range(400))):
        pieces, minutes = Minutes(), []
        for begin, end in zip([0, *cuts], [*cuts, 400], strict=True):
            minutes += list(pieces.fold(ride.part(begin, end)))
        assert [t_s for t_s, _ in minutes] == [t_s for t_s, _ in whole]
        known = [minute for _, minute in minutes if minute is not None]
        expected = [minute for _, minute in whole if minute is not None]
        assert [one.power_w for one in known] == [one.power_w for one in expected]


@pytest.mark.parametrize("name", ["power_w", "volts_v", "east_mps"])
def test_a_minute_with_a_gap_is_unknown(name: str) -> None:
    gap = {name: np.where(np.arange(200) == 90, np.nan, 1.0)}
    found = dict(Minutes().fold(settled(200, **gap)))
    assert [t_s for t_s, minute in found.items() if minute is None and t_s >= MINUTE_S] == [
        *np.arange(100.0, 151.0, EVERY_S)
    ]


def test_a_throttle_that_moves_is_not_held() -> None:
    moved = np.where(np.arange(120) < 60, 0.5, np.linspace(0.3, 0.7, 120))
    found = dict(Minutes().fold(settled(120, throttle_fraction=moved)))
    assert found[60.0].throttle == 0.5
    assert np.isnan(found[120.0].throttle)
    # No drive reports revs here.
    assert np.isnan(found[60.0].revs)


def test_like_courses_are_within_an_angle() -> None:
    def minute(course_deg: float, speed_mps: float = 2.0) -> Minute:
        east, north = np.sin(np.radians(course_deg)), np.cos(np.radians(course_deg))
        return Minute(0.0, 1.0, 1.0, speed_mps * east, speed_mps * north, 0.5, 1.0)

    assert minute(350.0).is_on_course_of(minute(10.0, 3.0), 25.0)
    assert not minute(350.0).is_on_course_of(minute(20.0), 25.0)
    assert not minute(0.0, 0.0).is_on_course_of(minute(0.0), 25.0)
