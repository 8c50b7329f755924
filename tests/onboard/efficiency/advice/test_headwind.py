"""Water and wind along the way home: the filter against scipy, and against made rides."""

import math

import numpy as np
import pytest
from scipy.linalg import block_diag, expm
from scipy.stats import truncnorm

from onboard.efficiency.advice import headwind
from onboard.efficiency.advice.common_practice import (
    DRAG_RATE_SD_JPMS,
    DRAG_SD_JPM,
    DRAG_WALK_J2PM2S,
    TREND_S,
    WATER_RATE_SD_MPS2,
)
from onboard.efficiency.advice.headwind import (
    DRAG,
    DRAG_RATE,
    WATER,
    WATER_RATE,
    Headwind,
    HeadwindTrend,
    mean_drift_s,
)
from onboard.efficiency.curve.water_walk import WANDER_M2PS3
from tests.onboard.efficiency.advice.homeward import curve, seconds
from tests.onboard.efficiency.curve.made_blocks import cubic

NOW = np.zeros(1)
SOUTH, NORTH = 180.0, 0.0


def van_loan(level_walk: float, drift_sd: float, step_s: float) -> tuple[np.ndarray, np.ndarray]:
    """Return transition and added covariance of level and drift by the matrix exponential.

    C. F. Van Loan, Computing integrals involving the matrix exponential, IEEE Transactions on
    Automatic Control 23 (1978), from memory.
    """
    flow = np.array([[0.0, 1.0], [0.0, -1.0 / TREND_S]])
    noise = np.diag([level_walk, 2.0 * drift_sd**2 / TREND_S])
    upper = np.block([[-flow, noise], [np.zeros((2, 2)), flow.T]]) * step_s
    whole = expm(upper)
    transition = whole[2:, 2:].T
    return transition, transition @ whole[:2, 2:]


@pytest.mark.parametrize("step_s", [60.0, 900.0, 14_400.0])
def test_a_step_in_time_is_that_of_an_integrated_ornstein_uhlenbeck_process(step_s: float) -> None:
    transition, added = headwind._step(step_s)
    for level, drift, walk, sd in (
        (WATER, WATER_RATE, WANDER_M2PS3, WATER_RATE_SD_MPS2),
        (DRAG, DRAG_RATE, DRAG_WALK_J2PM2S, DRAG_RATE_SD_JPMS),
    ):
        part = np.ix_([level, drift], [level, drift])
        exact, more = van_loan(walk, sd, step_s)
        assert transition[part] == pytest.approx(exact, rel=1e-9)
        assert added[part] == pytest.approx(more, rel=1e-6)


@pytest.mark.parametrize("ahead_s", [60.0, 3600.0, 30_000.0])
def test_the_mean_drift_ahead_is_the_mean_of_a_decaying_one(ahead_s: float) -> None:
    t_s = np.linspace(0.0, ahead_s, 20_001)
    level = TREND_S * -np.expm1(-t_s / TREND_S)
    exact = np.trapezoid(level, t_s) / ahead_s
    assert mean_drift_s(np.array([ahead_s]))[0] == pytest.approx(exact, rel=1e-6)


@pytest.mark.parametrize("mean", [20.0, 0.0, -30.0, -300.0])
def test_the_drag_is_not_below_its_least(mean: float) -> None:
    sd, least = 12.0, -8.0
    covariance = np.diag([1.0, 1.0, 1.0, sd**2, 1.0])
    covariance[WATER, DRAG] = covariance[DRAG, WATER] = -6.0
    found, spread = headwind._at_least(np.array([0.5, 0, 0, mean, 0]), covariance, DRAG, least)
    begin = min((least - mean) / sd, 6.0)
    exact = truncnorm(begin, np.inf, loc=least - begin * sd, scale=sd)
    assert found[DRAG] == pytest.approx(exact.mean(), rel=1e-9)
    assert spread[DRAG, DRAG] == pytest.approx(exact.var(), rel=1e-6)
    # The water follows by its regression on the drag.
    assert found[WATER] == pytest.approx(0.5 - 6.0 / sd**2 * (exact.mean() - mean), rel=1e-9)
    assert np.linalg.eigvalsh(spread).min() > 0


def test_the_filter_equals_least_squares() -> None:
    """Compare with generalised least squares on all states of all minutes at once."""
    rng = np.random.default_rng(5)
    t_s = np.array([60.0, 120.0, 300.0, 360.0, 1200.0])
    rows = rng.normal(size=(5, 5))
    rows[:, DRAG] = -0.004
    seen = rng.normal(0.0, 0.1, 5)
    prior, noise = headwind._prior(0.3, 0.02), 0.03**2
    # States of all minutes are x0 and the steps added; each minute's is a sum of both.
    sources, known = [np.eye(5)], [prior]
    states = [np.eye(5)]
    for step_s in np.diff(t_s):
        transition, added = headwind._step(float(step_s))
        states = [transition @ state for state in states]
        states.append(np.eye(5))
        sources.append(np.hstack([*states]))
        known.append(added)
    covariance = block_diag(*known)
    design = np.zeros((5, 25))
    for number, source in enumerate(sources):
        design[number, : source.shape[1]] = rows[number] @ source
    gain = covariance @ design.T @ np.linalg.inv(design @ covariance @ design.T + noise * np.eye(5))
    exact = sources[-1] @ (gain @ seen)
    spread = sources[-1] @ (covariance - gain @ design @ covariance) @ sources[-1].T
    mean, found = headwind._filter(t_s, seen, rows, prior, noise)
    lifted, cut = headwind._at_least(exact, spread, DRAG, -DRAG_SD_JPM)
    assert mean == pytest.approx(lifted, rel=1e-6, abs=1e-12)
    assert found == pytest.approx(cut, rel=1e-6, abs=1e-15)


def trend(*parts) -> HeadwindTrend:
    kept = HeadwindTrend()
    for part in parts:
        kept.fold(part)
    return kept


def out_s(count: int, speed_mps: float = 2.0):
    return seconds(np.full(count, speed_mps), cubic(2.0))


def test_without_minutes_only_the_priors_count() -> None:
    found = trend().homeward(SOUTH, curve())
    assert found.more_mps(NOW)[0] == 0.0
    assert found.covariance == pytest.approx(Headwind.unknown().covariance)


def test_a_current_that_the_fit_knows_adds_nothing() -> None:
    # North at 2.3 m/s on the power of 2.0 m/s: a current of 0.3 m/s, as fitted.
    known = curve((0.0, 0.3))
    found = trend(out_s(1800, 2.3)).homeward(SOUTH, known)
    assert found.fitted_mps == pytest.approx(-0.3)
    assert found.more_mps(NOW)[0] == pytest.approx(0.0, abs=0.02)


def test_on_the_way_home_a_headwind_is_seen_within_minutes() -> None:
    # Half an hour out as by the curve, then home at 0.3 m/s less than the power gives.
    home = seconds(np.full(300, -1.7), cubic(2.0), 1800.0, 3600.0)
    found = trend(out_s(1800), home).homeward(SOUTH, curve())
    # The drag costs as much at every power: here 0.3 m/s of speed are what it takes at 1.7 m/s.
    _, slope = curve().ln_power_at(np.array([2.0]))
    by_drag = 1.7 * 2.0 * float(slope[0]) / cubic(2.0)
    lost = found.more_mps(NOW)[0] - by_drag * found.drag_jpm(NOW)[0]
    assert lost == pytest.approx(-0.3, abs=0.05)
    assert found.drag_jpm(np.array([3600.0]))[0] >= found.drag_jpm(NOW)[0] > 0.0


def test_a_current_that_gets_up_outward_is_expected_to_go_on_so() -> None:
    # It sets away from home, by 0.3 m/s after half an hour.
    speed = 2.0 + np.linspace(0.0, 0.3, 1800)
    known = curve((0.0, 0.3))
    found = trend(seconds(speed, cubic(2.0))).homeward(SOUTH, known)
    assert -0.6 / 3600 < found.mean[WATER_RATE] < -0.1 / 3600
    later = found.more_mps(np.array([0.0, 1800.0, 3600.0]))
    assert np.all(np.diff(later) < -0.02)
    # Nobody relies on a trend that helps.
    helping = trend(seconds(speed[::-1], cubic(2.0))).homeward(SOUTH, known)
    assert helping.mean[WATER_RATE] > 0.1 / 3600
    assert np.ptp(helping.more_mps(np.array([0.0, 3600.0]))) == 0.0


def test_a_wind_from_behind_cannot_be_told_on_the_way_out() -> None:
    shorter, longer = (trend(out_s(count)).homeward(SOUTH, curve()) for count in (600, 3600))
    for found, away_s in ((shorter, 600.0), (longer, 3600.0)):
        # Of an Ornstein-Uhlenbeck drift, begun stationary; the least drag takes a part of it.
        since_s = away_s - 60.0  # the first minute's end
        past = since_s / TREND_S
        grown = (DRAG_RATE_SD_JPMS * TREND_S) ** 2 * 2.0 * (past - 1.0 + math.exp(-past))
        whole = math.sqrt(DRAG_SD_JPM**2 + DRAG_WALK_J2PM2S * since_s + grown)
        exact = truncnorm(-DRAG_SD_JPM / whole, np.inf, scale=whole)
        assert found.mean[DRAG] == pytest.approx(exact.mean(), rel=0.15)
        assert found.covariance[DRAG, DRAG] == pytest.approx(exact.var(), rel=0.02)


def test_a_wind_from_behind_is_told_by_a_leg_towards_home() -> None:
    legs = trend(out_s(1200), seconds(np.full(600, -2.0), cubic(2.0), 1200.0, 2400.0))
    found = legs.homeward(SOUTH, curve())
    assert found.covariance[DRAG, DRAG] < 10.0**2
    assert found.mean[DRAG] < 8.0


@pytest.mark.parametrize(
    "part",
    [
        seconds(np.zeros(600), 200.0),
        seconds(np.full(600, 2.0), np.nan),
        seconds(2.0 * np.cos(np.arange(600.0) / 8.0), 200.0),
        seconds(np.full(600, 2.0), -5.0),
    ],
    ids=["at rest", "no power", "turning", "charging"],
)
def test_minutes_that_tell_nothing_of_the_line_home_are_left_out(part) -> None:
    found = trend(part).homeward(SOUTH, curve())
    assert found.covariance == pytest.approx(Headwind.unknown().covariance)


def test_across_the_line_home_only_time_goes_by() -> None:
    known = curve((0.1, 0.3))
    found = trend(seconds(np.full(3600, 0.2), cubic(2.0), east_mps=2.0)).homeward(SOUTH, known)
    assert found.more_mps(NOW)[0] == pytest.approx(0.0, abs=1e-12)
    out = trend(out_s(3600)).homeward(SOUTH, known)
    assert found.covariance[DRAG, DRAG] == pytest.approx(out.covariance[DRAG, DRAG])
    # The water as of the last fit, which knows how well it is known; an hour's trend is not in it.
    grown = (WATER_RATE_SD_MPS2 * 3540) ** 2
    assert 0.5 * grown < found.covariance[WATER, WATER] < 1.5 * grown + WANDER_M2PS3 * 3540


def test_the_minutes_do_not_depend_on_the_pieces() -> None:
    rng = np.random.default_rng(3)
    whole = seconds(2.0 + rng.normal(0, 0.1, 1000), cubic(2.0))
    pieces = [whole.part(a, a + 7) for a in range(0, 1000, 7)]
    one, many = (trend(*parts).homeward(SOUTH, curve()) for parts in ([whole], pieces))
    assert one.mean.tolist() == many.mean.tolist()


def test_a_new_minute_and_a_new_curve_are_taken_up() -> None:
    kept, known = trend(out_s(600)), curve()
    before = kept.homeward(SOUTH, known)
    assert kept.homeward(SOUTH + 0.2, known) is before
    assert kept.homeward(SOUTH, curve((0.0, 0.3))) is not before
    kept.homeward(SOUTH, known)
    kept.fold(seconds(np.full(120, 1.5), cubic(2.0), 600.0, 1200.0))
    assert kept.homeward(SOUTH, known).more_mps(NOW)[0] > before.more_mps(NOW)[0] + 0.02
