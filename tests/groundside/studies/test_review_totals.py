"""Totals of several rides, against sums by hand."""

from dataclasses import replace

import pytest

from groundside.studies.review_result import LogSummary, Review
from groundside.studies.review_totals import totals
from onboard.contract.figure import Estimate, Figure, Unknown, throughout
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import Trip

NOTHING = Unknown(Reason.NO_POWER_MONITOR)


def figure(value: float | None, reach: float = 0.0) -> Estimate:
    return NOTHING if value is None else Figure(value, value - reach, value + reach)


def ride(
    energy_wh: float | None,
    distance_m: float | None,
    elapsed_s: float = 3600.0,
    moving_s: float = 3000.0,
    *,
    cost: float | None = None,
    part: float = 0.04,
) -> Review:
    """Return a review with intervals of `part` of the energy, and a tenth of that of distance."""
    if cost is None and energy_wh is not None and distance_m is not None and distance_m > 20:
        cost = 1000.0 * energy_wh / distance_m
    trip = replace(
        throughout(Trip)(NOTHING),
        energy_wh=figure(energy_wh, part * (energy_wh or 0.0)),
        distance_m=figure(distance_m, part * (distance_m or 0.0) / 10),
        wh_per_km=figure(cost, part * (cost or 0.0)),
        elapsed_s=elapsed_s,
        moving_s=NOTHING if distance_m is None else moving_s,
    )
    log = LogSummary("telemetry", 1, 0, Unknown(Reason.NO_DATE), elapsed_s)
    return replace(throughout(Review)(NOTHING), log=log, trip=trip, bands=(), events=())


def test_consumption_of_all_is_of_the_sums_and_not_the_mean_of_the_rides() -> None:
    # 10 km at 20 Wh/km and 1 km at 100 Wh/km: 300 Wh over 11 km. The mean of both would be 60.
    found = totals([ride(200, 10_000, 7200, 7000), ride(100, 1_000, 3600, 1000)])
    assert found.wh_per_km.value == pytest.approx(300 / 11)
    assert found.energy_wh.value == 300
    assert found.distance_m.value == 11_000
    assert found.elapsed_s == 10_800
    assert found.moving_s == 8_000
    assert found.mean_speed_mps == pytest.approx(11_000 / 8_000)
    assert found.mean_power_w == pytest.approx(300 / 3.0)  # Wh in 3 h


def test_mean_power_is_over_the_time_of_the_rides_whose_energy_is_known() -> None:
    # 100 Wh and 70 Wh over 1 h and 2 h; of the second the distance is not known.
    found = totals([ride(100, 2_000, 3600), ride(70, None, 7200)])
    assert found.mean_power_w == pytest.approx(170 / 3)
    assert totals([ride(100, 2_000, 3600), ride(None, 900, 7200)]).mean_power_w == 100.0


def test_half_widths_add_up_and_do_not_average_out() -> None:
    # Ten rides, each known to 4 %: all together are known to 4 %, not to 4 / sqrt(10).
    found = totals([ride(100 + n, 2_000) for n in range(10)])
    for figure_ in (found.energy_wh, found.wh_per_km):
        assert figure_.low == pytest.approx(0.96 * figure_.value)
        assert figure_.high == pytest.approx(1.04 * figure_.value)
    # 200 Wh known to 4 % and 100 Wh to 1 %: 8 + 1 Wh, over 11 km.
    found = totals([ride(200, 10_000), ride(100, 1_000, part=0.01)])
    assert found.energy_wh.high == pytest.approx(309)
    assert found.wh_per_km.high - found.wh_per_km.value == pytest.approx(9 / 11)


def test_energy_at_anchor_counts_though_it_has_no_consumption_of_its_own() -> None:
    found = totals([ride(100, 2_000), ride(10, 3.0)])
    assert found.wh_per_km.value == pytest.approx(110 / 2.003)
    assert found.wh_per_km.high - found.wh_per_km.value == pytest.approx(4.4 / 2.003)
    assert found.without["wh_per_km"] == 0


def test_a_ride_that_lacks_one_side_is_in_no_ratio() -> None:
    found = totals([ride(100, 2_000), ride(None, 5_000), ride(70, None)])
    assert found.energy_wh.value == 170
    assert found.distance_m.value == 7_000
    assert found.wh_per_km.value == pytest.approx(50)
    assert found.without == {"energy_wh": 1, "distance_m": 1, "wh_per_km": 0}
    # Power and speed over different parts: 40 Wh/km where both are known, 70 Wh and 1 km in sum.
    apart = totals([ride(100, 2_000), ride(70, 1_000, cost=40.0)])
    assert apart.wh_per_km.value == pytest.approx(50)
    assert apart.without["wh_per_km"] == 1
    assert apart.energy_wh.value == 170


def test_unknown_totals_are_not_zero() -> None:
    found = totals([ride(None, None)])
    assert found.energy_wh == found.mean_power_w == Unknown(Reason.KNOWN_IN_NONE)
    assert found.wh_per_km == Unknown(Reason.TOGETHER_IN_NONE)
    assert totals([ride(5, 3.0)]).wh_per_km == Unknown(Reason.HARDLY_MOVED_IN_ANY)
    assert totals([ride(5, 30.0, moving_s=0.0)]).mean_speed_mps == Unknown(Reason.NO_TIME)
    assert totals([]).rides == 0


def test_a_ride_given_twice_counts_once() -> None:
    one = ride(100, 2_000)
    found = totals([one, ride(60, 1_000), ride(100, 2_000)])
    assert found.rides == 2
    assert found.repeated == (2,)
    assert found.energy_wh.value == 160
