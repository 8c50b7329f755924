"""The current's scale and zero, against charges with a known truth."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from groundside.studies.current_fit import (
    CONTRADICTED,
    Correction,
    chi_square_most,
    current_correction,
)
from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.battery.charge_balance import Unlogged
from onboard.profile import Sensors
from tests.onboard.efficiency.battery.made_charges import (
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
        correction = current_correction(charges, conditions())
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


def test_an_unlogged_drain_widens_downwards() -> None:
    back = 20.5
    plain = found([charge(20.0, back)], conditions())
    perhaps = found([charge(20.0, back, unlogged=Unlogged(most_ah=0.25))], conditions())
    assert perhaps.scale.value == plain.scale.value
    assert perhaps.scale.high == plain.scale.high
    assert perhaps.scale.low == pytest.approx(plain.scale.low - 0.25 / 20.0, rel=1e-6)
    assert perhaps.scale_sd > plain.scale_sd
    stated = found([charge(20.0, back, unlogged=Unlogged(0.25, 0.06))], conditions())
    assert stated.scale.value == pytest.approx((back - 0.25) / 20.0)
    assert stated.scale_sd > plain.scale_sd


@pytest.mark.slow
def test_with_an_unseen_drain_of_any_size_allowed_for_the_interval_still_holds() -> None:
    allowed = Unlogged(most_ah=0.01 * PACK_AH)
    for share in (0.0, 0.5, 1.0):
        hits = 0
        for seed in range(DRAWS):
            unseen = share * allowed.most_ah
            charges = drawn(seed, scale=1.01, unlogged=allowed, unseen_ah=unseen)
            hits += holds(found(charges, conditions()).scale, 1.01)
        assert hits / DRAWS >= binomial_limits(DRAWS)[0]


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
    mixed = [charge(20.0, 20.4), charge(5.0, 9.0), charge(20.0, 19.0, full=False)]
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
