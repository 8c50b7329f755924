"""Charge drawn or returned while nothing was measured, and how the question is answered."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from onboard.contract.commands import Amount
from onboard.efficiency.battery.ocv_curve import OCV_CURVES
from onboard.efficiency.battery.pack import Pack
from onboard.efficiency.battery.recharge import Away, aged, charged, with_known_charge
from onboard.efficiency.statistics.shared_errors import CAPACITY, START
from onboard.profile import Battery, Sensors
from tests.onboard.efficiency.battery.made_packs import LFP, LI_ION, fraction, load

LATER = Away(7200.0)


def at(battery: Battery, fraction: float, away: Away = LATER) -> Pack:
    """Return the next ride's pack, after a ride that ended at a share of full."""
    pack = Pack(battery, Sensors())
    kept = pack.count.as_dict()
    kept["fraction"] = fraction
    kept["covariance"][START][START] = 0.03**2
    pack.resume(json.loads(json.dumps(kept)), Away())
    pack.count.away(-math.inf, away)
    return pack


@pytest.mark.parametrize(
    ("battery", "before", "now", "found", "asks"),
    [
        # A rested Li-ion pack answers by itself, at power-on.
        (LI_ION, 0.3, 1.0, 1.0, False),
        (LI_ION, 0.5, 1.0, 1.0, False),
        (LI_ION, 0.7, 1.0, 1.0, False),
        (LI_ION, 0.5, 0.5, 0.5, False),
        (LI_ION, 0.3, 0.3, 0.3, False),
        # An LFP pack on its plateau does not: the lower figure counts.
        (LFP, 0.55, 0.55, 0.55, True),
        (LFP, 0.5, 0.75, 0.5, True),
        (LFP, 0.5, 0.9, 0.5, True),
    ],
)
def test_a_rested_voltage_answers_the_question_if_it_can(
    battery: Battery, before: float, now: float, found: float, asks: bool
) -> None:
    pack = at(battery, before)
    pack.fold(load(battery, np.full(30, 0.1), start=now))
    assert fraction(pack) == pytest.approx(found, abs=0.06)
    assert (pack.count.recharge_unknown_since_s is not None) is asks
    assert not pack.contradicted
    pack.fold(load(battery, np.full(60, 20.0), start=now, begin_s=30.0, drawn_ah=3 / 3600))
    assert fraction(pack) == pytest.approx(found - 20 / 60 / battery.capacity_ah, abs=0.06)
    assert (pack.count.recharge_unknown_since_s is not None) is asks


def test_while_open_the_lower_figure_counts_and_the_interval_extends_to_full() -> None:
    pack, full = at(LFP, 0.5), Pack(LFP, Sensors())
    full.charged_full()
    left, most = pack.summary(200.0), full.summary(200.0)
    assert left.left_fraction.value == pytest.approx(0.3, abs=0.02)
    assert left.left_fraction.high == pytest.approx(most.left_fraction.high, rel=0.01)
    assert left.charge_fraction.value == pytest.approx(0.5, abs=0.02)
    assert left.charge_fraction.high == most.charge_fraction.high == 1.0
    assert left.left_wh.high == pytest.approx(most.left_wh.high, rel=0.01)
    # Charge possibly drawn unseen is in the lower end, and advice uses only the lower count.
    assert left.left_fraction.low < 0.5 - 0.2 - 1.9 * 0.03
    assert pack.left_spread(200.0).value == left.left_wh.value
    pack.charged(("charged_wh", 0.0))
    after = pack.summary(200.0)
    assert after.left_fraction.value == left.left_fraction.value
    assert after.left_fraction.high < 0.45


@pytest.mark.parametrize(
    ("battery", "amount", "found"),
    [
        (LFP, ("left_fraction", 0.8), 0.8),
        (LFP, ("left_fraction", 1.0), 1.0),
        (LFP, ("charged_ah", 7.0), 0.5 + 7.0 / 35.0),
        (LFP, ("charged_ah", 30.0), 1.0),  # more than fits
        # By hand: 8 cells of 3.27 V on the plateau; half of a loss of 5 % stays behind.
        (LFP, ("charged_wh", 200.0), 0.5 + 200.0 / 1.025 / (8 * 3.27) / 35.0),
        (LFP, ("charged_wh", 2000.0), 1.0),
        (LI_ION, ("charged_wh", 300.0), 0.5 + 300.0 / 1.025 / (14 * 3.80) / 25.0),
    ],
)
def test_a_charge_stated_by_the_rider(battery: Battery, amount: Amount, found: float) -> None:
    pack = at(battery, 0.5)
    before = pack.covariance[0, 0]
    pack.charged(amount)
    assert fraction(pack) == pytest.approx(found, abs=0.005)
    assert pack.count.recharge_unknown_since_s is None
    if amount[0] == "left_fraction" or found == 1.0:
        assert pack.covariance[0, 0] < before
    else:
        assert before < pack.covariance[0, 0] < 1.2 * before
    # The interval still covers a pack of another capacity, in which the charge counts for less.
    assert np.linalg.eigvalsh(pack.covariance)[0] > -1e-12


@pytest.mark.parametrize("before", [0.05, 0.1, 0.2, 0.4])
def test_a_voltage_of_a_full_pack_means_full_however_empty_it_was(before: float) -> None:
    # Cells differ by 0.4 V near empty; but one that had 4.2 V there would be above all others at
    # any charge. The pack was found full to 25 % only.
    pack = at(LI_ION, before)
    pack.fold(load(LI_ION, np.full(30, 0.1), start=1.0))
    assert fraction(pack) == pytest.approx(0.985, abs=0.015)
    assert np.sqrt(pack.covariance[START, START]) < 0.04


def test_a_charge_fills_a_larger_pack_less() -> None:
    # By differences: the charge after 7 Ah into a pack of 25 Ah and one a thousandth larger.
    known = with_known_charge(Pack(LI_ION, Sensors()).count.state, 0.4, 0.02, 0.0, 0.0)
    turned = []
    for larger in (0.0, 1e-3):
        mean = known.mean.copy()
        mean[CAPACITY] = larger
        after = charged(replace(known, mean=mean), "li-ion", 1320.0, ("charged_ah", 7.0))
        turned.append(after.start_fraction)
    change = (turned[1] - turned[0]) / 1e-3
    after = charged(known, "li-ion", 1320.0, ("charged_ah", 7.0))
    capacity = known.covariance[CAPACITY, CAPACITY]
    assert change < 0
    assert after.covariance[START, CAPACITY] == pytest.approx(change * capacity, rel=5e-3)


def test_a_pack_ages_while_nobody_looks() -> None:
    # Common practice: 2 % in a year, with the square root of time; a week where no clock shows it.
    state = Pack(LFP, Sensors()).count.state
    grown = [
        aged(state, pause_s).covariance[CAPACITY, CAPACITY] - 0.03**2
        for pause_s in (3600.0, 365.25 * 86400.0, 4 * 365.25 * 86400.0, math.nan)
    ]
    assert grown == pytest.approx([0.0, 0.02**2, 0.04**2, 0.02**2 * 7 / 365.25], rel=5e-3)


def test_a_brown_out_hardly_widens_and_asks_nothing() -> None:
    pack = at(LFP, 0.5)
    pack.count.away(-math.inf, Away(15.0))
    pack.fold(load(LFP, np.full(5, 10.0), start=0.5))
    assert pack.count.recharge_unknown_since_s is None
    assert pack.covariance[0, 0] == pytest.approx(0.03**2, rel=0.02)


def test_the_time_of_day_may_come_late_and_closes_the_question_at_its_own_second() -> None:
    # Whatever happens in between, and for any partition of the seconds.
    found = []
    for cuts in (1, 40):
        pack = at(LFP, 0.5, Away())
        pack.count.away(120.0, Away(15.0))
        settled = load(LFP, np.repeat([0.1, 20.0], 100), start=0.5)
        for part in np.array_split(np.arange(200), cuts):
            pack.fold(settled.part(part[0], part[-1] + 1))
        found.append((pack.summary(200.0), pack.covariance.tolist()))
        assert pack.count.recharge_unknown_since_s is None
    assert found[0] == found[1]


def test_an_open_question_survives_restarts_and_is_not_widened_by_them() -> None:
    pack = at(LFP, 0.5)
    kept = pack.count.as_dict()
    for _ in range(40):
        pack = Pack(LFP, Sensors())
        pack.resume(json.loads(json.dumps(kept)), Away())
        kept = pack.count.as_dict()
    pack.count.away(-math.inf, Away(5.0, was_running=True, drawn_ah=0.0))
    pack.fold(load(LFP, np.full(5, 10.0), start=0.5))
    assert math.sqrt(pack.covariance[0, 0]) == pytest.approx(0.03, rel=0.02)
    asked = at(LFP, 0.5)
    asked.fold(load(LFP, np.full(5, 10.0), start=0.5))
    once_more = Pack(LFP, Sensors())
    once_more.resume(json.loads(json.dumps(asked.count.as_dict())), Away(5.0, True, drawn_ah=0.0))
    assert once_more.count.recharge_unknown_since_s is not None


def test_an_autopilot_that_was_off_for_long_in_mid_ride_is_asked_about_too() -> None:
    for off_s, asks in ((20.0, False), (3600.0, True)):
        pack = Pack(replace(LI_ION, start_sd=0.05), Sensors())
        pack.fold(load(LI_ION, np.full(1800, 25.0)))
        pack.count.was_off(1800.0 + off_s, Away(off_s))
        back = load(LI_ION, np.full(30, 20.0), start=0.5, begin_s=1800.0 + off_s, drawn_ah=12.5)
        pack.fold(back)
        assert (pack.count.recharge_unknown_since_s is not None) is asks
    # Charged meanwhile and rested when it returns: its voltage answers the question.
    pack = Pack(replace(LI_ION, start_sd=0.05), Sensors())
    pack.fold(load(LI_ION, np.full(1800, 25.0)))
    pack.count.was_off(5400.0, Away(3600.0))
    pack.fold(load(LI_ION, np.full(30, 0.1), start=1.5, begin_s=5400.0, drawn_ah=12.5))
    assert fraction(pack) == pytest.approx(1.0, abs=0.06)
    assert pack.count.recharge_unknown_since_s is None


def test_charges_beyond_the_ends_of_the_curve_are_safe() -> None:
    for battery in (LFP, LI_ION):
        for before in (-0.1, 0.0, 0.99, 1.1):
            pack = at(battery, before)
            pack.fold(load(battery, np.full(30, 0.1), start=1.0))
            pack.charged(("charged_wh", 50.0))
            assert 0.0 <= pack.summary(100.0).left_fraction.value <= 1.0
    assert OCV_CURVES.keys() == {"lfp", "li-ion"}
