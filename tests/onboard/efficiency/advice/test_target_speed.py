"""The speed for a distance against algebra, for a power law and a constant-energy battery."""

import math

import numpy as np
import pytest

from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.advice.reach import Reach
from onboard.efficiency.advice.speeds_ahead import SpeedsAhead
from onboard.efficiency.advice.target_speed import (
    SURE_SD,
    Advised,
    CueKeeper,
    DistanceCue,
    advised_speed,
)
from onboard.efficiency.common_practice import UNTRIED_SPEED_FRACTION

SPEEDS = np.linspace(0.3, 3.0, 200)


def ahead(*, left_wh=500.0, left_sd=0.0, cost_sd=0.03, speeds=SPEEDS, now=None, head_mps=0.0):
    """Return rows with P = 10 + 20 w^3, w the speed through water, in a head current."""
    power = 10 + 20 * (speeds + head_mps) ** 3
    per_wh = speeds / power * 3600
    ranges = Reach(left_wh * per_wh, left_sd * per_wh, np.full(len(speeds), cost_sd))
    return SpeedsAhead(speeds, power, ranges, np.zeros((len(speeds), len(speeds))), now)


def test_with_everything_known_the_target_speed_uses_up_the_energy_left() -> None:
    # 500 Wh over 20 km: 25 Wh/km = (10 + 20 v^3) / 3.6 v, that is 20 v^3 - 90 v + 10 = 0.
    exact = max(np.roots([20, 0, -90, 10]).real)
    sharp = advised_speed(ahead(cost_sd=0.0), 20_000.0)
    assert sharp.speed_mps == pytest.approx(exact, rel=2e-3)
    # At 99 %, a cost known to 3 % may be exp(2.33 * 0.03) times as high: a range shorter by
    # 1 - exp(-2.33 * 0.03) = 6.74 %.
    part = 1 - 0.0674
    sure = max(np.roots([20, 0, -90 * part, 10]).real)
    advised = advised_speed(ahead(), 20_000.0)
    assert advised.speed_mps == pytest.approx(sure, rel=2e-3)
    assert advised.hold_mps == advised.speed_mps < exact


def test_a_poorly_known_battery_slows_down() -> None:
    sharp = advised_speed(ahead(), 20_000.0).speed_mps
    assert advised_speed(ahead(left_sd=50.0), 20_000.0).speed_mps < sharp - 0.1
    assert advised_speed(ahead(cost_sd=0.1), 20_000.0).speed_mps < sharp - 0.1


def test_a_distance_too_far_names_what_is_sure() -> None:
    # v* = (P0 / 2c)^(1/3) = 0.62996 m/s, 6.61417 Wh/km.
    advised = advised_speed(ahead(), 90_000.0)
    assert advised.speed_mps == Unknown(Reason.CANNOT_BE_MADE)
    assert advised.best_speed_mps == pytest.approx(0.63, abs=0.02)
    sure_m = 500 / 6.614 * 1000 * (2 - math.exp(SURE_SD * 0.03))
    assert advised.best_m == pytest.approx(sure_m, rel=6e-3)
    assert advised.hold_mps == advised.best_speed_mps


def test_falling_short_at_the_slowest_speed_tried_advises_a_slightly_slower_one() -> None:
    # The cheapest speed is 0.63 m/s, the slowest tried 2 m/s.
    advised = advised_speed(ahead(speeds=SPEEDS[SPEEDS >= 2.0]), 90_000.0)
    assert isinstance(advised.speed_mps, Unknown)
    assert advised.best_speed_mps == pytest.approx(2.0, abs=0.02)
    assert advised.hold_mps == pytest.approx(2.0 * UNTRIED_SPEED_FRACTION, abs=0.02)


def advised(speed_mps: float | None, try_mps: float = 1.0) -> Advised:
    speed = Unknown(Reason.CANNOT_BE_MADE) if speed_mps is None else speed_mps
    return Advised(speed, try_mps, 5000.0, try_mps)


@pytest.mark.parametrize(
    ("chance", "now_mps", "found", "cue"),
    [
        (0.995, 2.0, advised(2.2), "hold"),
        (0.9, 2.0, advised(1.5), "ease"),
        # A foul water current, or hotel load: only faster speeds are sure.
        (0.9, 0.4, advised(1.5), "push"),
        (0.2, 2.0, advised(None, 1.0), "ease"),
        (0.2, 0.5, advised(None, 1.0), "push"),
        # A planing craft was told to push from 6.8 to 6.96 m/s, far beyond its best speed.
        (0.98, 6.8, advised(6.96), "ease"),
        # Not sure, and no learned speed is better.
        (0.2, 1.0, advised(None, 1.0), Unknown(Reason.CANNOT_BE_MADE)),
        # 'Ease' once stood over a speed to hold that was the rider's own.
        (0.2, 1.02, advised(None, 1.0), Unknown(Reason.CANNOT_BE_MADE)),
        (0.2, 1.04, advised(None, 1.0), "ease"),
    ],
)
def test_the_cue_for_a_distance(chance, now_mps, found, cue) -> None:
    assert DistanceCue().cue(chance, now_mps, found, 1.0) == cue


def test_the_cue_for_a_distance_does_not_flicker() -> None:
    keeper, seen = DistanceCue(), []
    for chance in (0.995, 0.991, 0.989, 0.991, 0.992, 0.994, 0.991):
        seen.append(keeper.cue(chance, 2.0, advised(1.9), 1.0))
        keeper.keep(seen[-1])
    assert seen == ["hold", "hold", "ease", "ease", "ease", "hold", "hold"]


def test_where_no_speed_is_sure_the_cue_does_not_flicker() -> None:
    keeper, seen = DistanceCue(), []
    for now_mps in (1.02, 1.04, 1.02, 1.005, 1.02):
        seen.append(keeper.cue(0.2, now_mps, advised(None, 1.0), 1.0))
        keeper.keep(seen[-1])
    none = Unknown(Reason.CANNOT_BE_MADE)
    assert seen == [none, "ease", "ease", none, none]


def test_the_cue_has_hysteresis() -> None:
    keeper = CueKeeper()
    seen = [keeper.fold(d) for d in (0.0, 0.02, 0.04, 0.02, 0.0, -0.04, -0.06, -0.03, -0.01)]
    assert seen == ["hold", "hold", "ease", "ease", "hold", "hold", "push", "push", "hold"]
