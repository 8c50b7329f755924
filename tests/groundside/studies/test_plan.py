"""The next trip, against the algebra of the best speed under a head current.

Least energy over ground of P = P0 + c v^3 against a head current u: 2 c v^3 - 3 c u v^2 - P0 = 0.
The values beside each case follow from it; for u = 0 they are (P0 / 2c)^(1/3) and P = 1.5 P0.
"""

import math
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundside.studies.plan import (
    KnownCurve,
    PlanRow,
    Supply,
    Way,
    best_row,
    load_factor,
    plan_rows,
)
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason


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


def rows_of(curve: KnownCurve, way: Way, energy_wh: float = 1e6, more=()) -> tuple[PlanRow, ...]:
    rows = plan_rows(curve, holds(energy_wh), way, more)
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
    rows = rows_of(Cubic(rest_w, per_cube), Way(1000.0, head_mps), more=[*fine, speed_mps])
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

    both = one(Way(700.0, head_mps, there_and_back=True))
    out, back = one(Way(700.0, head_mps)), one(Way(700.0, -head_mps))
    assert both.time_s == pytest.approx(out.time_s + back.time_s)
    assert both.energy_wh.value == pytest.approx(out.energy_wh.value + back.energy_wh.value)


def test_no_way_is_made_against_faster_water() -> None:
    none = plan_rows(Cubic(10.0, 20.0, (0.5, 1.0)), holds(100.0), Way(1000.0, 1.2))
    assert none == Unknown(Reason.NO_WAY_MADE)
    back = Way(1000.0, -1.2, there_and_back=True)
    assert isinstance(plan_rows(Cubic(10.0, 20.0, (0.5, 1.0)), holds(100.0), back), Unknown)


def test_the_chance_falls_as_the_way_grows_and_the_best_is_the_fastest_sure_one() -> None:
    curve = Cubic(10.0, 20.0, (0.5, 3.0), variance=0.05**2)
    before = 1.0
    for distance_m in (1000.0, 3000.0, 5000.0, 8000.0):
        rows = rows_of(curve, Way(distance_m), energy_wh=100.0)
        assert [row.speed_mps for row in rows] == sorted(row.speed_mps for row in rows)
        chance = rows[-1].arrive_fraction
        assert chance <= before
        before = chance
    rows = rows_of(curve, Way(5000.0), energy_wh=100.0)
    best = best_row(rows)
    assert best.arrive_fraction >= 0.99
    assert all(r.arrive_fraction < 0.99 for r in rows if r.speed_mps > best.speed_mps)
    hopeless = best_row(rows_of(curve, Way(50_000.0), energy_wh=100.0))
    assert hopeless.arrive_fraction < 0.01


def test_the_interval_is_that_of_a_power_known_to_a_factor() -> None:
    rows = rows_of(Cubic(10.0, 20.0, (1.0, 2.0), variance=0.04**2), Way(1000.0))
    energy = rows[0].energy_wh
    assert energy.low is not None and energy.high is not None
    # 4 % for the curve, 3 % for changes of weather on the way, 7 % for another day; 95 % are
    # 1.959964 standard deviations.
    sd = math.hypot(0.04, 0.03, 0.07)
    assert math.log(energy.high / energy.value) == pytest.approx(1.959964 * sd)
    assert energy.value / energy.low == pytest.approx(energy.high / energy.value)


def test_a_speed_never_ridden_is_flagged() -> None:
    rows = rows_of(Cubic(10.0, 20.0, (1.0, 2.0)), Way(1000.0), more=[0.8, 1.55, 2.5])
    assert [row.through_water_mps for row in rows if row.extrapolated] == [0.8, 2.5]
    assert not best_row(rows).extrapolated
    assert any(row.through_water_mps == 1.55 for row in rows)


def test_more_load_by_the_displacement_rule() -> None:
    # Admiralty coefficient: P goes with displacement^(2/3); 10 kg on 110 kg are 5.97 %.
    assert load_factor(110.0, 10.0) == pytest.approx(1.0597, abs=5e-5)
    curve = Cubic(10.0, 20.0)
    plain, loaded = (
        rows_of(curve, Way(1000.0, power_factor=factor))[5].energy_wh.value
        for factor in (1.0, load_factor(110.0, 10.0))
    )
    assert loaded / plain == pytest.approx(load_factor(110.0, 10.0))
