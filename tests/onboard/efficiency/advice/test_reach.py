"""Range and time left by hand: energy left over consumption and power, with their errors."""

import itertools
import math

import numpy as np
import pytest

from onboard.contract.figure import Figure
from onboard.efficiency.advice.reach import (
    Reach,
    range_now_m,
    reach,
    time_resting_s,
    time_riding_s,
)
from onboard.efficiency.common_practice import WEATHER_AHEAD_SD_FRACTION, WEATHER_BUILDS_S
from onboard.efficiency.riding.sagging import Sag
from onboard.efficiency.riding.scatter import Scatter
from onboard.efficiency.statistics.shared_errors import (
    CAPACITY,
    COUNT,
    GAIN,
    OFFSET,
    START,
    VOLTAGE,
)
from tests.onboard.efficiency.advice.plain_pack import PlainPack, riding

Z = 1.959964


def with_sd(error: int, sd: float) -> np.ndarray:
    covariance = np.zeros((COUNT, COUNT))
    covariance[error, error] = sd**2
    return covariance


def lower_half(found: Figure) -> float:
    return (found.value - found.low) / found.value


def weather(ahead_s: float) -> float:
    return WEATHER_AHEAD_SD_FRACTION * math.sqrt(min(ahead_s / WEATHER_BUILDS_S, 1.0))


def test_a_range_is_energy_left_over_consumption() -> None:
    # 300 W at 2 m/s are 41.67 Wh/km; 500 Wh last 6000 s.
    found = range_now_m(PlainPack(), riding())
    assert found.value == pytest.approx(500.0 / 41.6667 * 1000, rel=1e-6)
    # Nothing but the weather: a lognormal cost.
    assert lower_half(found) == pytest.approx(1 - math.exp(-Z * weather(6000.0)))
    assert found.high / found.value == pytest.approx(math.exp(Z * weather(6000.0)))


@pytest.mark.parametrize(
    ("error", "sd", "relative"),
    [
        # 24 of 500 Wh.
        (CAPACITY, 0.03, 0.048),
        # A gain of 2 % costs twice: 1 of 500 Wh was drawn unseen, and each kilometre takes more.
        (GAIN, 0.02, 0.02 * 1.1),
        # 0.2 A at 50 V are 10 of 300 W; it drew 0.4 of 500 Wh unseen.
        (OFFSET, 0.2, 0.2 * (2 / 500 + 50 / 300)),
    ],
)
def test_errors_that_energy_and_cost_share_count_once(error, sd, relative) -> None:
    gradient = np.array([1000.0, 800.0, -50.0, -2.0, 100.0])
    pack = PlainPack(gradient=gradient, covariance=with_sd(error, sd))
    found = range_now_m(pack, riding())
    of_cost = math.expm1(-Z * weather(6000.0))
    assert lower_half(found) == pytest.approx(math.hypot(Z * relative, of_cost))


def test_the_variance_is_that_of_finite_differences() -> None:
    # Correlated errors, two powers: range = left / (power / speed), where left and power depend on
    # the errors.
    left_by = np.array([900.0, 420.0, -130.0, -11.0, 60.0])
    sds = np.array([0.02, 0.03, 0.02, 0.05, 0.005])
    mixed = np.eye(COUNT)
    mixed[START, GAIN] = mixed[GAIN, START] = -0.6
    mixed[CAPACITY, OFFSET] = mixed[OFFSET, CAPACITY] = 0.4
    covariance = mixed * np.outer(sds, sds)
    power, speed = np.array([120.0, 300.0]), np.array([1.5, 2.0])

    def ranges(errors: np.ndarray) -> np.ndarray:
        left = 500.0 + left_by @ errors
        true_w = power * (1 + errors[GAIN]) * (1 + errors[VOLTAGE]) + 50.0 * errors[OFFSET]
        return left * speed / true_w * 3600.0

    step = 1e-5
    by = np.stack(
        [(ranges(step * one) - ranges(-step * one)) / (2 * step) for one in np.eye(COUNT)], axis=1
    )
    exact = np.sqrt(np.einsum("ni,ij,nj->n", by, covariance, by))
    pack = PlainPack(gradient=left_by, covariance=covariance)
    found = reach(pack, power, 50.0, 0.0, speed / power * 3600.0)
    assert found.linear_sd == pytest.approx(exact, rel=1e-6)


def test_what_is_sure_is_less_than_what_is_likely() -> None:
    rows = Reach(np.array([10e3, 0.0]), np.array([800.0, 500.0]), np.array([0.4, 0.1]))
    quantiles = [rows.at(z) for z in (-3.0, -2.33, -1.96, -0.5, 0.0, 0.5, 1.96)]
    for less, more in itertools.pairwise(quantiles):
        assert np.all(less <= more)
    assert quantiles[4] == pytest.approx(rows.middle)
    # Known to a factor: further up than down.
    assert 0 < quantiles[2][0] < 0.6 * 10e3 < 2.1 * 10e3 < quantiles[6][0]
    # Nothing left on the mean: at most its uncertainty.
    assert quantiles[2][1] == 0.0
    assert quantiles[6][1] == pytest.approx(1.96 * 500.0)


@pytest.mark.parametrize("deviations", [-2.3, -1.0, 0.0, 0.7])
def test_a_chance_is_that_of_the_quantile(deviations: float) -> None:
    rows = Reach(np.array([10e3]), np.array([800.0]), np.array([0.2]))
    wanted = float(rows.at(deviations)[0])
    # The normal distribution's survival function, by erfc.
    exact = 0.5 * math.erfc(deviations / math.sqrt(2.0))
    assert rows.chance(0, wanted) == pytest.approx(exact, abs=2e-4)


def test_the_longer_the_riding_ahead_the_more_its_scatter_averages_out() -> None:
    scatter = Scatter(0.0004, 0.0036, 0.5)
    for left_wh, ahead_s in ((500.0, 6000.0), (50.0, 600.0), (0.25, 3.0)):
        found = range_now_m(PlainPack(left_wh), riding(cost=scatter))
        # Blocks of 10 s correlated by a half are worth a third of their number, at least one.
        sd = math.sqrt(0.0004 + 0.0036 * min(3.0 / (ahead_s / 10.0), 1.0) + weather(ahead_s) ** 2)
        assert found.high / found.value == pytest.approx(math.exp(Z * sd))


def test_a_held_throttle_goes_further_as_the_voltage_falls() -> None:
    # Voltage 5 % lower on the mean ahead; power goes as its 2.4th power, speed as power's 0.35th.
    held = riding(sag=Sag(2.4, 0.0, 0.35))
    plain = PlainPack(fall=-0.05)
    longer = time_riding_s(plain, held).value / time_riding_s(plain, riding()).value
    assert longer == pytest.approx(math.exp(2.4 * 0.05))
    further = range_now_m(plain, held).value / range_now_m(plain, riding()).value
    assert further == pytest.approx(math.exp(2.4 * 0.65 * 0.05))
    # Not knowing what is held widens the interval.
    unknown = time_riding_s(plain, riding(sag=Sag(2.4, 1.0, 0.35)))
    sd = math.hypot(weather(6000.0), 0.05)
    assert unknown.high / unknown.value == pytest.approx(math.exp(Z * sd))


@pytest.mark.parametrize(
    ("power_w", "known"), [(0.0, False), (-20.0, False), (4.9, False), (6.0, True)]
)
def test_a_time_left_at_hardly_any_power_is_unknown(power_w: float, known: bool) -> None:
    found = time_resting_s(PlainPack(100.0), power_w, 50.0)
    assert isinstance(found, Figure) is known
    if known:
        assert found.value == pytest.approx(100.0 / power_w * 3600)
    assert isinstance(time_riding_s(PlainPack(100.0), riding(power_w)), Figure) is known


def test_the_time_left_has_the_errors_of_energy_and_power() -> None:
    # Ten watts of 300 more, and six watt-hours of 500 less, from the same error of 0.2 A.
    gradient = np.array([0.0, 0.0, 0.0, -60.0, 0.0])
    pack = PlainPack(gradient=gradient, covariance=with_sd(OFFSET, 0.1))
    found = time_resting_s(pack, 300.0, 50.0)
    relative = 0.1 * (60.0 / 500.0 + 50.0 / 300.0)
    assert found.value == pytest.approx(6000.0)
    assert found.high - found.value == pytest.approx(Z * relative * 6000.0)
