"""The current's scale and zero, against charges with a known truth."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import optimize, stats

from groundside.studies.charge_balance import Unlogged
from groundside.studies.charge_errors import Source
from groundside.studies.current_fit import (
    CONTRADICTED,
    Correction,
    chi_square_most,
    current_correction,
)
from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.profile import Sensors
from tests.groundside.studies.made_charges import (
    EXACT,
    PACK_AH,
    binomial_limits,
    charge,
    conditions,
    counted,
    drawn,
)

DRAWS = 1000
APART_A = (4.0, 8.0, 16.0, 24.0)
ZERO_IN_DOUBT = replace(EXACT, current_offset_sd_a=0.3)


def found(charges, known) -> Correction:
    correction = current_correction(charges, known)
    assert isinstance(correction, Correction), correction
    return correction


def holds(figure: Figure, truth: float) -> bool:
    return figure.low <= truth <= figure.high


@pytest.mark.parametrize("amps", [(10.0,), (9.0, 10.0, 11.0)])
def test_the_interval_of_the_scale_has_its_stated_coverage(amps) -> None:
    sensors = Sensors(current_scale=1.02, current_offset_a=0.1, current_offset_sd_a=0.2)
    hits = told = 0
    for seed in range(DRAWS):
        scale = 1.0 + 0.05 * np.random.default_rng(seed + 10_000).standard_normal()
        # The zero is drawn about the profile's value.
        charges = drawn(seed, amps, scale=scale, offset_a=0.1, sensors=sensors)
        correction = current_correction(charges, conditions(sensors))
        if isinstance(correction, Unknown):
            assert correction is CONTRADICTED
            continue
        told += 1
        assert isinstance(correction.offset_a, Unknown)
        assert correction.used == len(amps)
        hits += holds(correction.scale, scale)
    # One in a hundred may look as if the charges contradicted each other.
    assert told >= 0.975 * DRAWS
    low, high = binomial_limits(told)
    assert low <= hits / told <= high


def test_intervals_of_scale_and_zero_have_their_stated_coverage() -> None:
    hits = np.zeros(2)
    told = 0
    for seed in range(DRAWS):
        rng = np.random.default_rng(seed + 20_000)
        scale, offset = 1.0 + 0.05 * rng.standard_normal(), 0.3 * rng.standard_normal()
        charges = drawn(seed, APART_A, scale=scale, offset_a=offset)
        correction = current_correction(charges, conditions(ZERO_IN_DOUBT))
        if isinstance(correction, Unknown):
            assert correction is CONTRADICTED
            continue
        told += 1
        hits += holds(correction.scale, scale), holds(correction.offset_a, offset)
    # One in a hundred may look as if the charges contradicted each other.
    assert told >= 0.975 * DRAWS
    low, high = binomial_limits(told)
    assert np.all((low <= hits / told) & (hits / told <= high))


def test_without_noise_scale_and_zero_are_found_to_the_last_digits() -> None:
    sensors = Sensors(current_scale=1.05, current_offset_a=-0.2)
    charges = []
    for amps in (5.0, 10.0, 20.0):
        reported_ah = 15.0
        hours = reported_ah / amps
        one = charge(1.05 * reported_ah - 0.2 * hours, 0.97 * reported_ah + 0.35 * hours)
        was = replace(one.counted, sensor_hours_h=hours)
        charges.append(replace(one, counted=was))
    correction = found(charges, conditions(sensors))
    assert correction.scale.value == pytest.approx(0.97, abs=1e-9)
    assert correction.offset_a.value == pytest.approx(0.35, abs=1e-9)


def test_the_scale_is_the_whole_one_for_the_profile() -> None:
    # The profile's scale is already 1.1: 20 Ah counted are 18.18 Ah reported.
    sensors = replace(EXACT, current_scale=1.1)
    correction = found([charge(20.0, 21.0)], conditions(sensors))
    assert correction.scale.value == pytest.approx(1.1 * 21.0 / 20.0)
    assert correction.scale_sd == pytest.approx(
        (correction.scale.high - correction.scale.value) / 1.959964
    )


@pytest.mark.parametrize("amps", [(5.0, 20.0), (9.0, 10.0, 11.0)])
def test_two_charges_or_similar_currents_determine_only_the_scale(amps) -> None:
    correction = found(drawn(3, amps, scale=1.03), conditions())
    assert correction.offset_a == Unknown(Reason.SCALE_ALONE, charges=3, times=1.5)


def test_more_charges_narrow_the_interval_down_to_the_meter_s() -> None:
    one = found(drawn(1, (10.0,)), conditions()).scale_sd
    nine = found(drawn(1, (10.0,) * 9), conditions()).scale_sd
    assert 0.01 < nine < one


def test_an_unlogged_drain_lowers_and_widens() -> None:
    back = 20.5
    plain = found([charge(20.0, back)], conditions())
    perhaps = found([charge(20.0, back, unlogged=Unlogged(most_ah=0.25))], conditions())
    assert perhaps.scale.value == pytest.approx(plain.scale.value - 0.25 / 2.0 / 20.0)
    more = (0.25 / 20.0) ** 2 / 8.0
    assert perhaps.scale_sd**2 == pytest.approx(plain.scale_sd**2 + more, rel=1e-6)
    stated = found([charge(20.0, back, unlogged=Unlogged(0.25, 0.06))], conditions())
    assert stated.scale.value == pytest.approx((back - 0.25) / 20.0)
    assert stated.scale_sd > plain.scale_sd


@pytest.mark.slow
def test_with_an_unseen_drain_of_any_size_allowed_for_the_interval_still_holds() -> None:
    allowed = Unlogged(most_ah=0.01 * PACK_AH)
    low, _ = binomial_limits(DRAWS)
    rng = np.random.default_rng(5)
    riders = rng.integers(0, 2, DRAWS) * rng.uniform(0.0, 1.0, DRAWS)
    for shares in (riders, np.zeros(DRAWS), np.full(DRAWS, 0.5), np.ones(DRAWS)):
        hits = 0
        for seed in range(DRAWS):
            unseen = float(shares[seed]) * allowed.most_ah
            charges = drawn(seed, scale=1.01, unlogged=allowed, unseen_ah=unseen)
            hits += holds(found(charges, conditions()).scale, 1.01)
        assert hits / DRAWS >= low


@pytest.mark.parametrize("count", [1, 3, 6])
def test_the_interval_is_as_wide_as_the_estimates_scatter(count: int) -> None:
    # It reached from -4.5 to +2.8 % where the estimates scattered by 1.5 %, however many charges.
    sensors, allowed = Sensors(), Unlogged(most_ah=0.01 * PACK_AH)
    rng = np.random.default_rng(count)
    errors, reaches = [], []
    for seed in range(400):
        scale = 1.0 + sensors.current_scale_sd * rng.standard_normal()
        unseen = rng.integers(0, 2) * rng.uniform(0.0, allowed.most_ah)
        amps = tuple(rng.uniform(6.0, 15.0, count).tolist())
        charges = drawn(
            seed, amps, scale=scale, sensors=sensors, unlogged=allowed, unseen_ah=unseen
        )
        correction = found(charges, conditions(sensors))
        errors.append(correction.scale.value - scale)
        reaches.append((correction.scale.high - correction.scale.low) / 2.0)
    held = np.mean(np.abs(errors) <= np.array(reaches))
    low, high = binomial_limits(len(errors))
    assert low <= held <= high
    assert np.median(reaches) <= 1.3 * 1.959964 * np.std(errors)


def test_independent_charges_pool_by_the_inverse_variance_formula() -> None:
    # Fixed-effect pooling (from memory, as in DerSimonian and Laird 1986): weights 1/s^2, variance
    # 1/sum(1/s^2); an error that all share, here of what the pack gives back, adds its square.
    amounts = np.array([13.0, 18.0, 24.0])
    ratios = np.array([1.021, 1.019, 1.02])
    charges = [charge(a, a * r) for a, r in zip(amounts.tolist(), ratios.tolist(), strict=True)]
    correction = found(charges, conditions(meter_sd_fraction=0.0))
    weights = (amounts / 0.125) ** 2
    pooled = float(weights @ ratios / weights.sum())
    assert correction.scale.value == pytest.approx(pooled, abs=1e-5)
    variance = 1.0 / weights.sum() + (pooled * 0.01 / 3**0.5) ** 2
    assert correction.scale_sd**2 == pytest.approx(variance, rel=1e-3)


def test_the_joint_estimate_against_scipy_s_least_squares() -> None:
    # The same equations, whitened, the profile's zero as one more of them.
    sensors = Sensors(current_scale=1.02, current_offset_a=0.1, current_offset_sd_a=0.2)
    known = conditions(sensors)
    charges = drawn(11, APART_A, scale=1.03, offset_a=0.1, sensors=sensors)
    correction = found(charges, known)
    back = np.array([one.charged_ah for one in charges])
    hours = np.array([one.counted.sensor_hours_h for one in charges])
    reported = (np.array([one.counted.charge_ah for one in charges]) - 0.1 * hours) / 1.02
    covariance = np.diag(np.full(4, 0.125**2) + 0.15 * (0.01 * back) ** 2)
    covariance += np.outer(back, back) * (0.85 * 0.01**2 + 0.01**2 / 3.0)
    root = np.linalg.cholesky(covariance)

    def rest(values):
        whitened = np.linalg.solve(root, back - values[0] * reported - values[1] * hours)
        return np.append(whitened, (values[1] - 0.1) / 0.2)

    fit = optimize.least_squares(rest, (1.0, 0.0), xtol=1e-15, ftol=1e-15, gtol=1e-15)
    assert correction.scale.value == pytest.approx(fit.x[0], abs=1e-8)
    assert correction.offset_a.value == pytest.approx(fit.x[1], abs=1e-6)
    spread = np.linalg.inv(fit.jac.T @ fit.jac)
    assert correction.scale_sd**2 == pytest.approx(spread[0, 0], rel=1e-5)
    assert correction.offset_sd_a**2 == pytest.approx(spread[1, 1], rel=1e-5)
    assert sum(correction.variances.values()) == pytest.approx(correction.scale_sd**2, rel=1e-9)


def test_a_zero_that_contradicts_the_profile_s_is_found_and_one_that_agrees_is_combined() -> None:
    stated = Sensors(current_offset_sd_a=0.05)
    off = found(drawn(3, APART_A, offset_a=1.0), conditions(stated))
    assert holds(off.offset_a, 1.0)
    assert off.variances[Source.ZERO] == 0.0
    near = found(drawn(3, APART_A, offset_a=0.02), conditions(stated))
    assert near.offset_sd_a < 0.05
    assert near.scale_sd < off.scale_sd


def test_small_charges_count_together() -> None:
    # 36 % of the pack each: none is enough alone.
    three = found([charge(9.0, 9.2)] * 3, conditions())
    assert three.used == 3
    assert three.scale.value == pytest.approx(9.2 / 9.0)
    assert found([charge(18.0, 18.4)], conditions()).scale_sd < three.scale_sd


def test_a_charge_read_in_watt_hours_joins_those_in_ampere_hours() -> None:
    known = conditions(Sensors())
    alone = found([charge(20.0, 20.4)], known)
    loss = known.loss(counted(18.0))
    energy = charge(18.0, None, 18.0 * 50.0 * 1.02 * (1.0 + loss.fraction))
    both = found([charge(20.0, 20.4), energy], known)
    assert both.used == 2
    assert both.scale.value == pytest.approx(1.02, rel=1e-6)
    assert both.scale_sd < alone.scale_sd
    assert both.variances[Source.LOSSES] > 0.0
    assert current_correction([energy], known) == Unknown(Reason.NEEDS_AH)


def too_little(back_ah: float) -> Unknown:
    return Unknown(Reason.TOO_LITTLE_USED, used_fraction=pytest.approx(back_ah / PACK_AH))


def too_much(times: float) -> Unknown:
    return Unknown(Reason.NO_SENSORS_ERROR, times=pytest.approx(times, rel=1e-6))


@pytest.mark.parametrize(
    ("one", "more", "why"),
    [
        (charge(20.0, 21.0), {"at_wall": True}, Unknown(Reason.METER_AT_WALL)),
        (charge(20.0, None, 1050.0), {}, Unknown(Reason.NEEDS_AH)),
        (charge(20.0, 21.0, full=False), {}, Unknown(Reason.NOT_FULL_TO_FULL)),
        (charge(13.0, 12.4), {}, too_little(12.4)),
        (charge(9.0, 20.0), {}, too_much(20.0 / 9.0)),
        (charge(24.0, 12.5 * 0.94), {}, too_little(12.5 * 0.94)),
        (
            replace(charge(20.0, 20.0), counted=replace(counted(20.0), sensor_hours_h=300.0)),
            {"sensors": Sensors(current_offset_a=0.1)},
            Unknown(Reason.ONLY_ZERO),
        ),
        (charge(26.0, 12.6), {}, too_much(12.6 / 26.0)),
        (charge(20.0, 21.0), {"pack_ah": None}, Unknown(Reason.NO_PACK_SIZE)),
    ],
)
def test_charges_without_a_correction_give_a_reason(one, more, why) -> None:
    correction = current_correction([one], conditions(**more))
    assert correction == why


def test_half_the_pack_is_enough_and_uninformative_charges_are_skipped() -> None:
    assert isinstance(current_correction([charge(12.0, 12.5)], conditions()), Correction)
    mixed = [charge(20.0, 20.4), charge(2.5, 4.5), charge(20.0, 19.0, full=False)]
    assert found(mixed, conditions()) == found(mixed[:1], conditions())


def test_contradictory_charges_give_no_correction() -> None:
    agree = [charge(20.0, 20.4), charge(18.0, 18.4)]
    assert isinstance(current_correction(agree, conditions()), Correction)
    assert (
        current_correction([charge(20.0, 20.4), charge(18.0, 20.4)], conditions()) is CONTRADICTED
    )


@pytest.mark.parametrize("freedom", [1, 2, 3, 7, 20])
def test_chi_square_against_scipy(freedom: int) -> None:
    assert chi_square_most(freedom) == pytest.approx(stats.chi2.ppf(0.99, freedom), rel=0.01)
