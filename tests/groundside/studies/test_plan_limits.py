"""The least charge and the turning point, against a craft and a pack in which both are algebra."""

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
import pytest

from groundside.studies.leg import Leg
from groundside.studies.pack_supply import Packs, Supply
from groundside.studies.plan import Knowledge, rows_at
from groundside.studies.plan_limits import leave_with_fraction, turn_round_m
from groundside.studies.way_ahead import Way
from onboard.efficiency.curve.ridden import none_ridden
from onboard.profile import Battery, Sensors


@dataclass(frozen=True)
class Square:
    """P = 40 w^2, known to a factor."""

    sd: float = 0.1
    seen_mps: tuple[float, float] = (1.0, 3.0)

    def ln_power_at(self, through_water_mps: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return np.log(40.0 * through_water_mps**2), np.full(len(through_water_mps), 0.5)

    def curve_variance(self, through_water_mps: np.ndarray) -> np.ndarray:
        # What a plan counts apart: 0.65 of 1.5 % and 1 % of speed, at the slope of 1/2.
        apart = 0.65 * (0.015**2 + 0.01**2) * 4.0
        return np.full(len(through_water_mps), self.sd**2 + apart)


KNOWN = Knowledge(Square(), None, none_ridden())
BATTERY = Battery(chemistry="li-ion", cells=14, capacity_ah=20.0, start_fraction=0.9)


def holds(energy_wh: float) -> Supply:
    def left(power_w: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        count = len(power_w)
        return np.full(count, energy_wh), np.zeros((count, 5)), np.zeros(count)

    return Supply(left, np.zeros((5, 5)), 48.0)


@pytest.mark.parametrize("chance", [0.95, 0.99])
def test_the_turning_point_is_where_the_chance_falls_to_what_was_asked(chance: float) -> None:
    # 160 W at 2 m/s are 22.22 Wh/km; 400 Wh, less z standard deviations of 10 %, there and back.
    way = Way((Leg(500.0, 0.0),), there_and_back=True)
    found_m = turn_round_m(KNOWN, holds(400.0), way, 2.0, chance)
    reach_km = 400.0 / (160.0 / 2.0 / 3.6) / math.exp(0.1 * NormalDist().inv_cdf(chance))
    assert found_m == pytest.approx(1000.0 * reach_km / 2.0, abs=1.5)


def test_one_who_makes_no_way_turns_round_at_once() -> None:
    way = Way((Leg(500.0, 2.5),), there_and_back=True)
    assert turn_round_m(KNOWN, holds(400.0), way, 2.0, 0.95) == 0.0


@pytest.mark.parametrize("count", [1, 2])
def test_the_least_charge_is_where_the_chance_is_what_was_asked(count: int) -> None:
    packs, way = Packs(BATTERY, Sensors(), count), Way((Leg(8000.0 * count, 0.0),))
    fraction = leave_with_fraction(KNOWN, packs, way, 2.0, 0.95)
    assert fraction is not None and 0.2 < fraction < 0.9
    for off, arrives in ((-0.002, False), (0.002, True)):
        (row,) = rows_at(KNOWN, packs.supply(fraction + off), way, np.array([2.0]))
        assert (row.arrive_fraction >= 0.95) is arrives


def test_no_charge_is_enough_for_too_long_a_way() -> None:
    assert (
        leave_with_fraction(KNOWN, Packs(BATTERY, Sensors()), Way((Leg(1e5),)), 2.0, 0.95) is None
    )


def test_two_packs_hold_twice_the_energy_and_all_of_its_error() -> None:
    power = np.array([100.0, 300.0])
    one, two = (Packs(BATTERY, Sensors(), count).supply().left_at(power) for count in (1, 2))
    assert two[0] == pytest.approx(2.0 * one[0])
    assert two[1] == pytest.approx(2.0 * one[1])
    assert np.sqrt(two[2]) == pytest.approx(2.0 * np.sqrt(one[2]))
