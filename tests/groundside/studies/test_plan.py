"""The next trip, against the algebra of the best speed under a head current.

Least energy over ground of P = P0 + c v^3 against a head current u: 2 c v^3 - 3 c u v^2 - P0 = 0.
The values beside each case follow from it; for u = 0 they are (P0 / 2c)^(1/3) and P = 1.5 P0.
"""

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundside.studies.leg import Leg
from groundside.studies.pack_supply import Supply
from groundside.studies.plan import (
    Knowledge,
    KnownCurve,
    PlanRow,
    best_row,
    load_factor,
    plan_rows,
    too_far,
)
from groundside.studies.way_ahead import Way
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.curve.ridden import none_ridden, ridden
from onboard.efficiency.curve.steady import SteadyBlock


@dataclass(frozen=True)
class Cubic:
    """A curve known without uncertainty."""

    rest_w: float
    per_cube: float
    seen_mps: tuple[float, float] = (0.1, 4.0)
    variance: float = 0.0

    def ln_power_at(self, through_water_mps: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        power = self.rest_w + self.per_cube * through_water_mps**3
        by_speed = 3 * self.per_cube * through_water_mps**3 / power
        return np.log(power), 1.0 / by_speed

    def curve_variance(self, through_water_mps: np.ndarray) -> np.ndarray:
        return np.full(len(through_water_mps), self.variance)


def holds(energy_wh: float) -> Supply:
    def left(power_w: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        count = len(power_w)
        return np.full(count, energy_wh), np.zeros((count, 5)), np.zeros(count)

    return Supply(left, np.zeros((5, 5)), 48.0)


def known(curve: KnownCurve) -> Knowledge:
    return Knowledge(curve, None, none_ridden())


def straight(distance_m: float, head_mps: float | None = None, **more) -> Way:
    """Return a way of one leg."""
    return Way((Leg(distance_m, head_mps),), **more)


def rows_of(curve: KnownCurve, way: Way, energy_wh: float = 1e6, more=()) -> tuple[PlanRow, ...]:
    rows = plan_rows(known(curve), holds(energy_wh), way, more)
    assert not isinstance(rows, Unknown)
    return rows


@pytest.mark.parametrize(
    ("rest_w", "per_cube", "head_mps", "speed_mps", "wh_per_km"),
    [
        (10.0, 20.0, 0.0, 0.629961, 6.61417),
        (10.0, 20.0, 0.5, 1.000000, 16.66667),
        (10.0, 20.0, 1.0, 1.597912, 42.55536),
        (10.0, 20.0, -0.5, 0.455410, 3.45664),
        (30.0, 15.0, 0.3, 1.174691, 17.24873),
        (5.0, 25.0, 0.8, 1.262717, 33.21781),
        (0.0, 20.0, 1.0, 1.5, 37.5),
    ],
)
def test_the_cheapest_speed_against_a_head_current(
    rest_w: float, per_cube: float, head_mps: float, speed_mps: float, wh_per_km: float
) -> None:
    fine = np.arange(0.1, 4.0, 0.001)
    rows = rows_of(Cubic(rest_w, per_cube), straight(1000.0, head_mps), more=[*fine, speed_mps])
    cheapest = min(rows, key=lambda row: row.energy_wh.value)
    assert cheapest.through_water_mps == pytest.approx(speed_mps, abs=1.1e-3)
    assert cheapest.energy_wh.value == pytest.approx(wh_per_km, rel=1e-5)
    assert cheapest.speed_mps == pytest.approx(cheapest.through_water_mps - head_mps)
    assert cheapest.time_s == pytest.approx(1000.0 / cheapest.speed_mps)


@given(st.floats(-0.9, 0.9), st.floats(1.0, 3.5))
def test_there_and_back_is_the_sum_of_both_ways(head_mps: float, through_mps: float) -> None:
    curve = Cubic(10.0, 20.0)

    def one(way: Way) -> PlanRow:
        rows = rows_of(curve, way, more=[through_mps])
        return min(rows, key=lambda row: abs(row.through_water_mps - through_mps))

    both = one(straight(700.0, head_mps, there_and_back=True))
    out, back = one(straight(700.0, head_mps)), one(straight(700.0, -head_mps))
    assert both.time_s == pytest.approx(out.time_s + back.time_s)
    assert both.energy_wh.value == pytest.approx(out.energy_wh.value + back.energy_wh.value)


def test_no_way_is_made_against_faster_water() -> None:
    none = plan_rows(known(Cubic(10.0, 20.0, (0.5, 1.0))), holds(100.0), straight(1000.0, 1.2))
    assert none == Unknown(Reason.NO_WAY_MADE)
    back = straight(1000.0, -1.2, there_and_back=True)
    assert isinstance(plan_rows(known(Cubic(10.0, 20.0, (0.5, 1.0))), holds(100.0), back), Unknown)


def test_the_chance_falls_as_the_way_grows_and_the_best_is_the_fastest_sure_one() -> None:
    curve = Cubic(10.0, 20.0, (0.5, 3.0), variance=0.05**2)
    before = 1.0
    for distance_m in (1000.0, 3000.0, 5000.0, 8000.0):
        rows = rows_of(curve, straight(distance_m), energy_wh=100.0)
        assert [row.speed_mps for row in rows] == sorted(row.speed_mps for row in rows)
        chance = rows[-1].arrive_fraction
        assert chance <= before
        before = chance
    rows = rows_of(curve, straight(5000.0), energy_wh=100.0)
    best = best_row(rows)
    assert best.arrive_fraction >= 0.99
    assert all(r.arrive_fraction < 0.99 for r in rows if r.speed_mps > best.speed_mps)
    hopeless = best_row(rows_of(curve, straight(50_000.0), energy_wh=100.0))
    assert hopeless.arrive_fraction < 0.01


def test_the_interval_is_that_of_a_power_known_to_a_factor() -> None:
    # There and back the first order of an unknown wind cancels; left are the curve's 10 %, less
    # 0.65 of the day-to-day spread: 1.5 and 1 % of speed by the local exponent.
    curve = Cubic(10.0, 20.0, (1.0, 2.0), variance=0.1**2)
    (row, *_) = rows_of(curve, straight(1000.0, there_and_back=True))
    energy = row.energy_wh
    assert energy.low is not None and energy.high is not None
    # 95 % are 1.959964 standard deviations; at 1 m/s 60 of 30 W, d ln P / d ln v, is 2.
    sd = math.sqrt(0.1**2 - 0.65 * (0.015**2 + 0.01**2) * 2.0**2)
    assert math.log(energy.high / energy.value) == pytest.approx(1.959964 * sd)
    assert energy.value / energy.low == pytest.approx(energy.high / energy.value)


def test_an_unknown_wind_widens_the_way_there() -> None:
    # 1.225 kg/m^3 of air, 0.7 m^2, 2.8 m/s of wind on 1 m/s over ground, at 45 % of the power.
    curve = Cubic(10.0, 20.0, (1.0, 2.0), variance=1e-12)
    (row, *_) = rows_of(curve, straight(1000.0))
    by_wind = 1.225 * 0.7 * 2.8 / 0.45 / 30.0
    assert row.energy_wh.high is not None
    assert math.log(row.energy_wh.high / row.energy_wh.value) == pytest.approx(
        1.959964 * by_wind, rel=1e-4
    )


def test_the_chance_is_that_of_one_lognormal_energy_above_another() -> None:
    # 100 Wh within 5 %, in part by the gain of the sensor that the curve shares; by hand.
    def left(power_w: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        gradient = np.zeros((len(power_w), 5))
        gradient[:, 2] = -30.0
        return np.full(len(power_w), 100.0), gradient, np.full(len(power_w), 25.0)

    covariance = np.zeros((5, 5))
    covariance[2, 2] = 0.02**2
    curve = Cubic(10.0, 20.0, (1.0, 1.0), variance=0.1**2)
    way = straight(11_000.0, there_and_back=False)
    (row,) = plan_rows(known(curve), Supply(left, covariance, 48.0), way)
    by_wind = 1.225 * 0.7 * 2.8 / 0.45 / 30.0
    of_curve = 0.1**2 - 0.65 * (0.015**2 + 0.01**2) * 2.0**2
    sd = math.sqrt((0.02 * (0.3 + 1.0)) ** 2 + 0.05**2 + of_curve + by_wind**2)
    z = math.log(100.0 / (30.0 * 11.0 / 3.6)) / sd
    assert row.arrive_fraction == pytest.approx(NormalDist().cdf(z), abs=1e-9)


def test_an_empty_pack_does_not_arrive() -> None:
    assert all(row.arrive_fraction == 0.0 for row in rows_of(Cubic(10.0, 20.0), straight(9.0), 0.0))

    # However uncertain it is: at the cut-off from the start, with a charge known to 5 %.
    def left(power_w: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        count = len(power_w)
        return np.zeros(count), np.full((count, 5), 500.0), np.full(count, 100.0)

    supply = Supply(left, 0.05**2 * np.eye(5), 48.0)
    rows = plan_rows(known(Cubic(10.0, 20.0)), supply, straight(9.0))
    assert isinstance(rows, tuple)
    assert all(row.arrive_fraction == 0.0 for row in rows)


def rode(speed_mps: float, power_w: float, blocks: int = 6) -> np.ndarray:
    """Return the sums of rides at a speed and a power."""
    return ridden([SteadyBlock(20.0 * n, power_w, 1.0, speed_mps, 0.0) for n in range(blocks)])


@pytest.mark.parametrize("factor", [0.6, 1.0, 1.5])
def test_no_row_excludes_what_rides_took_at_its_speed(factor: float) -> None:
    # A ride took 1.5 times what the curve says: the water was against it, or the curve is wrong.
    curve = Cubic(10.0, 20.0, (1.0, 2.0), variance=0.02**2)
    knowledge = Knowledge(curve, None, rode(1.5, 77.5 * factor))
    rows = plan_rows(knowledge, holds(1e6), straight(1000.0, there_and_back=True))
    assert isinstance(rows, tuple)
    (row,) = [one for one in rows if one.speed_mps == pytest.approx(1.5)]
    assert row.took is not None
    by_rides = 77.5 * factor / 1.5 / 3.6
    assert row.took.wh_per_km == pytest.approx(by_rides)
    assert row.energy_wh.low is not None and row.energy_wh.high is not None
    assert row.energy_wh.low - 1e-9 <= 2.0 * by_rides <= row.energy_wh.high + 1e-9
    # On the other side it is as narrow as without.
    alone = rows_of(curve, straight(1000.0, there_and_back=True))
    (plain,) = [one for one in alone if one.speed_mps == pytest.approx(1.5)]
    if factor > 1.0:
        assert row.energy_wh.low == pytest.approx(plain.energy_wh.low)
    else:
        assert row.energy_wh.high == pytest.approx(plain.energy_wh.high)
    # Speeds that were not ridden have none beside them.
    assert rows[0].took is None
    # In water that is stated, rides in other water are no measure.
    stated = plan_rows(knowledge, holds(1e6), straight(1000.0, 0.0, there_and_back=True))
    assert isinstance(stated, tuple)
    (row,) = [one for one in stated if one.speed_mps == pytest.approx(1.5)]
    assert row.energy_wh == plain.energy_wh


def test_where_water_and_craft_cannot_be_told_apart_the_plan_is_over_ground() -> None:
    wide = Cubic(10.0, 20.0, (0.8, 1.8), variance=0.5**2)
    ground = Cubic(12.0, 22.0, (1.0, 2.0), variance=0.05**2)
    knowledge = Knowledge(wide, ground, none_ridden())
    rows = plan_rows(knowledge, holds(1e6), straight(1000.0))
    assert isinstance(rows, tuple)
    assert rows[0].speed_mps == rows[0].through_water_mps == 1.0
    assert rows[0].energy_wh.value == pytest.approx(34.0 / 3.6)
    # The wind of those rides was as unknown as that of this one.
    by_wind = 2.0 * (1.225 * 0.7 * 2.8 / 0.45 / 34.0) ** 2
    slope = 34.0 / 66.0
    sd = math.sqrt(0.05**2 - 0.65 * (0.015**2 + 0.01**2) / slope**2 + by_wind)
    assert rows[0].energy_wh.high is not None
    reach = math.log(rows[0].energy_wh.high / rows[0].energy_wh.value)
    assert reach == pytest.approx(1.959964 * sd)
    # The way back was never ridden: 0.3 m/s of water along it, at 1 m/s.
    back = plan_rows(knowledge, holds(1e6), straight(1000.0, there_and_back=True))
    assert isinstance(back, tuple)
    assert back[0].energy_wh.high is not None
    reach = math.log(back[0].energy_wh.high / back[0].energy_wh.value)
    assert reach == pytest.approx(1.959964 * math.sqrt(sd**2 - by_wind + 0.3**2))
    # In stated water only the other curve serves, as wide as it is.
    stated = plan_rows(knowledge, holds(1e6), straight(1000.0, 0.2))
    assert isinstance(stated, tuple)
    assert stated[0].through_water_mps == 0.8
    assert stated[0].energy_wh.high is not None
    assert stated[0].energy_wh.high > 2.5 * stated[0].energy_wh.value


def test_a_craft_ridden_at_one_speed_gives_one_row() -> None:
    # Its lowest and highest speed differ by noise alone.
    rows = rows_of(Cubic(10.0, 20.0, (2.03, 2.06)), straight(1000.0))
    assert [row.speed_mps for row in rows] == [pytest.approx(2.045)]
    assert not rows[0].extrapolated
    # And one asked for that is planned anyway is not planned twice.
    rows = rows_of(Cubic(10.0, 20.0, (1.0, 1.2)), straight(1000.0), more=[1.1, 1.1])
    assert [row.speed_mps for row in rows] == [1.0, 1.1, 1.2]


def test_nothing_is_said_of_speeds_far_from_those_ridden() -> None:
    curve = Cubic(10.0, 20.0, (1.0, 2.0))
    assert [too_far(curve, speed) for speed in (0.4, 0.6, 3.9, 4.1, 50.0)] == [
        True, False, False, True, True,
    ]  # fmt: skip


def test_a_speed_never_ridden_is_flagged() -> None:
    rows = rows_of(Cubic(10.0, 20.0, (1.0, 2.0)), straight(1000.0), more=[0.8, 1.55, 2.5])
    assert [row.through_water_mps for row in rows if row.extrapolated] == [0.8, 2.5]
    assert not best_row(rows).extrapolated
    assert any(row.through_water_mps == 1.55 for row in rows)


def test_more_load_by_the_displacement_rule() -> None:
    # Admiralty coefficient: P goes with displacement^(2/3); 10 kg on 110 kg are 5.97 %.
    assert load_factor(110.0, 10.0) == pytest.approx(1.0597, abs=5e-5)
    curve = Cubic(10.0, 20.0)
    plain, loaded = (
        rows_of(curve, straight(1000.0, power_factor=factor))[5].energy_wh.value
        for factor in (1.0, load_factor(110.0, 10.0))
    )
    assert loaded / plain == pytest.approx(load_factor(110.0, 10.0))
