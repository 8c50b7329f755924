"""The ways home: energy by integration over the way, and its uncertainty by random draws."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from onboard.efficiency.advice.common_practice import SLOWED_MOST, TREND_S
from onboard.efficiency.advice.headwind import (
    CURVE,
    DRAG,
    DRAG_RATE,
    WATER,
    WATER_RATE,
    Headwind,
)
from onboard.efficiency.advice.ways_home import WaysHome, ways_home
from onboard.efficiency.common_practice import WEATHER_SD_FRACTION
from onboard.efficiency.curve.water_walk import WANDER_M2PS3
from onboard.efficiency.statistics.shared_errors import CAPACITY, GAIN
from tests.onboard.efficiency.advice.homeward import SPEEDS, ahead
from tests.onboard.efficiency.curve.made_blocks import cubic

STILL = Headwind(np.zeros(5), np.zeros((5, 5)), 0.0, 0.0)
DISTANCE_M = 5000.0


def wind(sds=(0.0,) * 5, fitted_mps: float = 0.0, **states: float) -> Headwind:
    names = {"u": WATER, "du": WATER_RATE, "k": CURVE, "f": DRAG, "df": DRAG_RATE}
    mean = np.zeros(5)
    for name, value in states.items():
        mean[names[name]] = value
    return Headwind(mean, np.diag(np.square(sds)), 1.5, fitted_mps)


def row_at(speed_mps: float) -> int:
    return int(np.argmin(np.abs(SPEEDS - speed_mps)))


def test_in_still_water_the_way_takes_power_over_speed() -> None:
    # P = 14 + 18 v^3: at 1 m/s 32 W, so 32 / 3.6 = 8.889 Wh/km.
    ways = ways_home(ahead(), DISTANCE_M, STILL)
    row = row_at(1.0)
    assert ways.needed_wh[row] == pytest.approx(5 * 8.8889, rel=1e-4)
    assert ways.margin_wh == pytest.approx(500.0 - ways.needed_wh)
    assert ways.speed_mps == pytest.approx(SPEEDS)
    assert ways.arrives.all()


def test_what_the_water_does_beyond_the_fit_counts() -> None:
    # Fitted at -0.2 m/s towards home, in truth -0.3, and the curve 4 % slow: + 0.06 m/s at 1.5 m/s.
    ways = ways_home(ahead(), DISTANCE_M, wind(u=-0.3, k=0.04, fitted_mps=-0.2))
    assert ways.speed_mps == pytest.approx(SPEEDS - 0.04)
    rows = SPEEDS > 0.5
    exact = cubic(SPEEDS) * DISTANCE_M / (SPEEDS - 0.04) / 3600
    assert ways.needed_wh[rows] == pytest.approx(exact[rows])


def took_s(speed_mps: float, rate_mps2: float) -> float:
    """Return the time home while the water's drift decays, by integration."""
    ahead_s = np.linspace(0.0, 40_000.0, 40_001)
    level = speed_mps + rate_mps2 * TREND_S * -np.expm1(-ahead_s / TREND_S)
    way = np.concatenate([[0.0], np.cumsum((level[1:] + level[:-1]) / 2)])
    return float(np.interp(DISTANCE_M, way, ahead_s))


@pytest.mark.parametrize("speed_mps", [1.0, 1.6, 2.2])
def test_a_trend_is_integrated_over_the_way(speed_mps: float) -> None:
    rate, rise = -0.25 / 3600, 40.0 / 3600
    ways = ways_home(ahead(), DISTANCE_M, wind(du=rate, f=10.0, df=rise))
    row = row_at(speed_mps)
    time_s = took_s(float(SPEEDS[row]), rate)

    def drag(t_s, _):
        return [10.0 + rise * TREND_S * -np.expm1(-t_s / TREND_S)]

    mean_drag = solve_ivp(drag, (0.0, time_s), [0.0], rtol=1e-9).y[0, -1] / time_s
    exact = (cubic(SPEEDS[row]) * time_s + mean_drag * DISTANCE_M) / 3600
    assert ways.needed_wh[row] == pytest.approx(exact, rel=2e-3)


def test_a_trend_that_helps_is_not_relied_on() -> None:
    helping = ways_home(ahead(), DISTANCE_M, wind(du=0.3 / 3600, f=-5.0, df=-40.0 / 3600))
    assert helping.needed_wh == pytest.approx(ways_home(ahead(), DISTANCE_M, STILL).needed_wh)


def test_a_way_that_the_trend_closes_does_not_arrive() -> None:
    ways = ways_home(ahead(), DISTANCE_M, wind(u=-0.5, du=-0.5 / 3600))
    slow, fast = row_at(0.45), row_at(2.4)
    assert not ways.arrives[slow]
    assert ways.margin_at(1.0)[slow] == -np.inf
    assert ways.arrives[fast]
    assert np.isfinite(ways.margin_at(1.0)[fast])


def test_the_first_order_spread_is_that_of_random_draws() -> None:
    """Draw the states and the shared errors from their covariance, and compute each way anew."""
    rng = np.random.default_rng(11)
    mean = np.array([-0.1, -0.05 / 3600, 0.01, 15.0, 10.0 / 3600])
    sds = np.array([0.06, 0.03 / 3600, 0.01, 7.0, 5.0 / 3600])
    mixed = np.eye(5)
    mixed[WATER, DRAG] = mixed[DRAG, WATER] = 0.7
    mixed[WATER, CURVE] = mixed[CURVE, WATER] = -0.4
    covariance = mixed * np.outer(sds, sds)
    shared = np.zeros((5, 5))
    shared[GAIN, GAIN], shared[CAPACITY, CAPACITY] = 0.02**2, 0.01**2
    ways = ways_home(ahead(covariance=shared), DISTANCE_M, Headwind(mean, covariance, 1.5, 0.0))
    row = row_at(1.6)
    margins = []
    for state in rng.multivariate_normal(mean, covariance, 4000):
        one = ways_home(ahead(), DISTANCE_M, Headwind(state, np.zeros((5, 5)), 1.5, 0.0))
        gain, capacity = rng.normal(0, 0.02), rng.normal(0, 0.01)
        margins.append(500 * (1 + capacity) - one.needed_wh[row] * (1 + gain))
    # The weather's 3 % of power, and the water's random walk on the way, are not among the draws.
    by_water = 54.0 * 1.6**2 / cubic(1.6)
    speed = DISTANCE_M * cubic(1.6) / 3600 / (ways.needed_wh[row] - 15.0 * DISTANCE_M / 3600)
    own = (WEATHER_SD_FRACTION / by_water) ** 2
    walk = WANDER_M2PS3 * DISTANCE_M / speed / 3
    # Of the day's weather counts what exceeds the known spread of the level.
    level = covariance[WATER, WATER] + (1.5 * sds[CURVE]) ** 2
    level += 2 * 1.5 * covariance[WATER, CURVE]
    more = max(own - level, 0.0) + walk
    drawn = np.var(margins) + more * (cubic(1.6) * DISTANCE_M / 3600 / speed**2) ** 2
    found = float(np.hypot(ways.cost_sd_wh[row], ways.rest_sd_wh[row]))
    assert found == pytest.approx(np.sqrt(drawn), rel=0.06)


def some(slowed: float, cost_sd=10.0, rest_sd=0.0, meter_sd=0.0) -> WaysHome:
    one = np.ones(1)
    return WaysHome(
        one, one, one > 0, 100.0 * one, 50.0 * one, slowed * one, cost_sd * one, meter_sd * one,
        rest_sd * one,
    )  # fmt: skip


def test_a_speed_that_is_lower_costs_more_than_one_that_is_higher_saves() -> None:
    # Slower by a fifth costs a quarter more; faster by a fifth saves a sixth.
    ways = some(0.2, cost_sd=20.0)
    assert ways.margin_at(1.0)[0] == pytest.approx(50.0 - 100.0 / 4)
    assert ways.margin_at(-1.0)[0] == pytest.approx(50.0 + 100.0 / 6)
    assert ways.needed(0).low == pytest.approx(100.0 - 100 * (1 - 1 / (1 + 1.959964 * 0.2)))
    assert ways.margin(0).high == pytest.approx(50.0 + 100 * (1 - 1 / (1 + 1.959964 * 0.2)))


def test_independent_errors_add_in_quadrature() -> None:
    assert some(0.0, 3.0, 4.0).margin_at(2.0)[0] == pytest.approx(50.0 - 10.0)
    assert some(0.0, 3.0, 4.0).margin_at(-2.0)[0] == pytest.approx(50.0 + 10.0)
    half = 1.959964 * 5.0
    needed = some(0.0, 3.0, meter_sd=4.0).needed(0)
    assert (needed.low, needed.high) == pytest.approx((100.0 - half, 100.0 + half))


def test_unknown_water_bounds_the_cost() -> None:
    # Against more, a craft uses more power. With w the speed at which the water would take all of
    # the way made at the power known, P = w^3, the least energy per metre is min w^3 / (w - u), at
    # w = 1.5 u; see `SLOWED_MOST`.
    assert some(3.0, cost_sd=300.0).margin_at(1.0)[0] == pytest.approx(50 - 300 / (1 - SLOWED_MOST))
    worst = brentq(lambda u: 6.75 * u**2 - 1 / (1 - SLOWED_MOST), 0.1, 2.0)
    assert worst == pytest.approx(0.86, abs=0.01)
    assert worst > SLOWED_MOST
