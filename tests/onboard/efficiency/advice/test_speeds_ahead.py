"""The range of every speed: the measured one, and the curve conditioned on it."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import linalg

from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.advice.reach import range_now_m
from onboard.efficiency.advice.speeds_ahead import speeds_ahead
from onboard.efficiency.common_practice import WEATHER_SD_FRACTION
from onboard.efficiency.curve.power_curve import speeds_on_courses
from onboard.efficiency.riding.scatter import Scatter
from tests.onboard.efficiency.advice.plain_pack import PlainPack, riding
from tests.onboard.efficiency.advice.test_adviser_known_curve import curve

NONE = Unknown(Reason.TOO_LITTLE_RIDING)
OUT_AND_BACK = ((90.0, 0.5), (270.0, 0.5))


def cubic_w(through: float) -> float:
    """Return P = 14 + 18 w^3, the curve of `curve()`."""
    return 14 + 18 * through**3


def test_the_row_of_the_present_riding_is_the_range_now() -> None:
    pack = PlainPack(own_variance=100.0)
    # It takes 20 % more than the curve says.
    now = riding(1.2 * cubic_w(2.0), 2.0, Scatter(0.001, 0.004, 0.5), courses=((90.0, 1.0),))
    for known in (curve(), None):
        ahead = speeds_ahead(pack, now, known, 0.0)
        assert ahead.speed_mps[ahead.now] == 2.0
        assert ahead.ranges.figure(ahead.now) == range_now_m(pack, now)


def test_other_speeds_follow_the_curve_from_the_present_cost() -> None:
    now = riding(1.2 * cubic_w(2.0), 2.0, courses=((90.0, 1.0),))
    ahead = speeds_ahead(PlainPack(), now, curve(), None)
    # A curve that is off as a whole is off elsewhere too, the less so the further away.
    near = (ahead.speed_mps > 1.2) & (ahead.speed_mps < 2.6)
    exact = 1.2 * cubic_w(ahead.speed_mps)
    assert ahead.power_w[near] == pytest.approx(exact[near], rel=0.01)
    assert ahead.power_w == pytest.approx(exact, rel=0.04)
    assert ahead.wh_per_km(1.5) == pytest.approx(1.2 * cubic_w(1.5) / 1.5 / 3.6, rel=0.01)
    # v* = (14 / 36)^(1/3).
    best = ahead.best_speed()
    assert best.value == pytest.approx(0.73, abs=0.05)
    assert best.low <= best.value <= best.high


def test_to_and_fro_both_directions_count_for_the_same_distance() -> None:
    # In water that sets east at 0.4 m/s, v over ground takes (P(v - 0.4) + P(v + 0.4)) / 2.
    now = riding(200.0, 2.0, courses=OUT_AND_BACK)
    ahead = speeds_ahead(PlainPack(), now, curve((0.4, 0.0)), None)

    def both(speed: float) -> float:
        return (cubic_w(speed - 0.4) + cubic_w(speed + 0.4)) / 2

    for row, speed in enumerate(ahead.speed_mps.tolist()):
        if 1.0 < speed < 2.1:
            exact = 200.0 * both(speed) / both(2.0)
            assert ahead.power_w[row] == pytest.approx(exact, rel=8e-3)


def test_the_curve_is_conditioned_on_what_is_measured() -> None:
    # Against the textbook formula for conditioning a normal distribution, by scipy's solver: each
    # knot of the curve has an error of 4 % of its own; all share that of the weather.
    now = riding(1.3 * cubic_w(2.0), 2.0, Scatter(0.0009, 0.0, 0.0), courses=((90.0, 1.0),))
    known = curve(sd=0.04)
    ahead = speeds_ahead(PlainPack(), now, known, None)
    plain = speeds_on_courses(known, ((90.0, 1.0),), 2.0)
    prior = plain.log_covariance + WEATHER_SD_FRACTION**2
    row = ahead.now
    gain = linalg.solve(prior[row : row + 1, row : row + 1], prior[row : row + 1])[0]
    exact = plain.power_w * np.exp(gain * np.log(now.power_w / plain.power_w[row]))
    assert ahead.power_w == pytest.approx(exact)
    assert ahead.power_w[row] == pytest.approx(now.power_w)
    left = np.diag(prior) - gain * prior[row]
    to_come = ahead.ranges.cost_sd[row] ** 2 - 0.0009
    assert ahead.ranges.cost_sd**2 == pytest.approx(left + gain**2 * 0.0009 + to_come, abs=1e-9)


def test_a_well_learned_speed_is_not_forgotten_at_one_just_tried() -> None:
    # 2 m/s was learned; 3 m/s is ridden for the first time. That its cost was not foreseen says
    # little about 2 m/s, whose range was once known to a factor of three only.
    known = curve(seen_mps=(1.5, 2.2), sd=0.01)
    off = known.covariance.copy()
    fast = 2 + int(np.argmin(np.abs(np.exp(known.ln_speed) - 2.6)))
    off[fast:, fast:] += 0.3**2
    now = riding(1.5 * cubic_w(3.0), 3.0, courses=((90.0, 1.0),))
    ahead = speeds_ahead(PlainPack(), now, replace(known, covariance=off), None)
    at = int(np.argmin(np.abs(ahead.speed_mps - 2.0)))
    assert ahead.power_w[at] == pytest.approx(cubic_w(ahead.speed_mps[at]), rel=0.02)
    assert ahead.ranges.cost_sd[at] < 0.12


def test_while_nothing_is_ridden_the_curve_alone_counts() -> None:
    ahead = speeds_ahead(PlainPack(), NONE, curve(), 90.0)
    assert ahead.now is None
    assert ahead.power_w == pytest.approx(cubic_w(ahead.speed_mps), rel=7e-3)
    sd = float(ahead.ranges.cost_sd[-1])
    assert sd == pytest.approx(math.hypot(0.03, 0.005 * 3), abs=0.004)
    assert speeds_ahead(PlainPack(), NONE, None, 90.0) == NONE


def test_a_range_is_unknown_at_a_speed_never_learned() -> None:
    now = riding(cubic_w(2.0), 2.0, courses=((90.0, 1.0),))
    ahead = speeds_ahead(PlainPack(), now, curve(), None)
    assert ahead.at_speed(3.5) == Unknown(Reason.NOT_LEARNED_THERE)
    found = ahead.at_speed(2.5)
    assert found.value == pytest.approx(500 / (cubic_w(2.5) / 2.5 / 3.6) * 1000, rel=0.02)


def test_best_range_is_never_below_the_range_now() -> None:
    for speed in (0.6, 1.0, 2.0, 2.6):
        now = riding(0.5 * cubic_w(speed), speed, courses=OUT_AND_BACK)
        ahead = speeds_ahead(PlainPack(), now, curve((0.3, 0.1)), None)
        best = ahead.best_range()
        assert best.value >= ahead.ranges.figure(ahead.now).value
        # What is sure at any speed is sure of the best.
        assert np.all(ahead.ranges.at(-1.96) <= best.low + 1e-6)
        assert best.low <= best.value <= best.high
