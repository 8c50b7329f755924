"""Rests of a pack of 25 Ah, second by second: less than 1 A counts as none."""

import math

import pytest

from onboard.efficiency.battery.rest import Rested, RestFinder
from onboard.efficiency.common_practice import (
    POWER_ON_REST_S,
    POWER_ON_REST_SD_V,
    REST_AFTER_LOAD_S,
    REST_MEAN_S,
)

LIGHT_A, WORK_A = 0.9, 8.0


def taken(finder: RestFinder, begin_s: float, count: int, amps_a: float, volts_v=50.0) -> list:
    return [finder.fold(begin_s + n, volts_v, amps_a, 1.0) for n in range(count)]


def test_at_power_on_ten_light_seconds_are_a_rest() -> None:
    finder = RestFinder(25.0)
    found = taken(finder, 1.0, POWER_ON_REST_S, LIGHT_A)
    assert found[:-1] == [None] * (POWER_ON_REST_S - 1)
    assert found[-1] == Rested(50.0, pytest.approx(LIGHT_A), POWER_ON_REST_SD_V, 1.0, 10.0)


@pytest.mark.parametrize("amps_a", [WORK_A, -WORK_A, 1.1, -1.1], ids=str)
def test_no_rest_for_three_minutes_after_drawing_or_charging(amps_a: float) -> None:
    finder = RestFinder(25.0)
    taken(finder, 1.0, 20, LIGHT_A)
    assert taken(finder, 21.0, 3, amps_a) == [None] * 3
    after = taken(finder, 24.0, 182, LIGHT_A)
    assert [one is None for one in after].index(False) == int(REST_AFTER_LOAD_S)


def test_a_gap_in_the_readings_may_hide_a_load() -> None:
    for hole_s, rests in ((9.0, True), (11.0, False)):
        finder = RestFinder(25.0)
        taken(finder, 1.0, 20, LIGHT_A)
        assert (taken(finder, 20.0 + hole_s, 1, LIGHT_A)[0] is not None) is rests


def test_a_pack_that_recovers_from_a_load_is_trusted_more_and_more() -> None:
    # The sd is 4 mV, and 20 mV that fade with a time constant of ten minutes.
    finder = RestFinder(25.0)
    taken(finder, 1.0, 3, WORK_A)
    rest = taken(finder, 4.0, 3601, LIGHT_A)
    assert rest[180].sd_v == pytest.approx(0.004 + 0.020 * math.exp(-180 / 600))
    assert rest[600].sd_v == pytest.approx(0.004 + 0.020 / math.e)
    assert rest[3600].sd_v == pytest.approx(0.004, abs=1e-4)


def test_voltage_and_current_are_means_of_the_last_half_minute() -> None:
    finder = RestFinder(25.0)
    taken(finder, 1.0, 40, 0.0, 50.0)
    (*_, last) = taken(finder, 41.0, REST_MEAN_S // 2, 0.6, 51.0)
    assert (last.volts_v, last.amps_a) == pytest.approx((50.5, 0.3))


def test_a_second_without_a_reading_changes_nothing() -> None:
    finder = RestFinder(25.0)
    (*_, before) = taken(finder, 1.0, 20, LIGHT_A)
    assert finder.fold(21.0, math.nan, LIGHT_A, 1.0) == before
    assert finder.fold(22.0, 50.0, math.nan, 1.0) == before


def test_a_loaded_pack_is_not_rested_when_the_stream_begins() -> None:
    assert taken(RestFinder(25.0, loaded=True), 1.0, 60, LIGHT_A) == [None] * 60
