"""The pack by hand: the meaning of its profile, rested voltages, and the rider's statements."""

from dataclasses import replace

import numpy as np
import pytest

from onboard.efficiency.battery.charge_state import ChargeState
from onboard.efficiency.battery.ocv_curve import OCV_CURVES
from onboard.efficiency.battery.pack import Pack
from onboard.efficiency.battery.pack_errors import CURVE, SIZE, prior
from onboard.efficiency.battery.recharge import Away
from onboard.efficiency.common_practice import USUAL_OHM_SD_FRACTION
from onboard.efficiency.statistics.shared_errors import CAPACITY, START, VOLTAGE
from onboard.profile import Battery, Sensors
from tests.onboard.efficiency.battery.made_packs import (
    LFP,
    LI_ION,
    charge_and_sd,
    fraction,
    rest,
    seconds,
)

TABLE = OCV_CURVES["li-ion"]
SURE = Sensors(current_scale_sd=0.0, current_offset_sd_a=0.0, voltage_scale_sd=0.0)


# The profile's statements.


def test_a_stated_energy_and_capacity_give_their_mean_voltage() -> None:
    # 1000 Wh of 20 Ah are 50 V on average: all of it is available at no load.
    plain = Battery("li-ion", 14, 20.0, energy_wh=1000.0, reserve_fraction=0.0, cutoff_v=1.0)
    for battery in (plain, replace(plain, capacity_ah=None)):
        pack = Pack(battery, SURE)
        assert pack.full.value == pytest.approx(1000.0)
        assert pack.left_spread(0.0).value == pytest.approx(1000.0, rel=1e-3)


def test_the_stated_cut_off_counts_before_the_chemistrys() -> None:
    assert Pack(LI_ION, SURE).cutoff_v == pytest.approx(14 * 3.0)
    assert Pack(replace(LI_ION, cutoff_v=46.5), SURE).cutoff_v == 46.5


@pytest.mark.parametrize("power_w", [0.0, 400.0, 1200.0])
@pytest.mark.parametrize(
    ("stated_ohm", "ohm"),
    [
        # 0.1 ohm to a fifth, and 1.3 of it to 0.3 of it for what lasts: weights 2500 and 1111.
        (0.1, (0.1 / 0.02**2 + 0.13 / 0.03**2) / (0.02**-2 + 0.03**-2)),
        # Nothing stated: a tenth of an ohm times an ampere-hour for each of 14 cells of 25 Ah.
        (None, 14 * 0.1 / 25),
    ],
)
def test_the_resistance_lowers_the_voltage(stated_ohm, ohm: float, power_w: float) -> None:
    # Computed separately: volts under constant power by the quadratic, over the charge above a
    # fifth of the energy, in ten thousand steps.
    at = (np.arange(10_000) + 0.5) / 10_000
    open_v = 14 * np.interp(at, TABLE.fraction, TABLE.ocv_v)
    above = np.cumsum(open_v) > 0.2 * open_v.sum()
    volts = (open_v + np.sqrt(open_v**2 - 4 * ohm * power_w)) / 2
    left = Pack(replace(LI_ION, resistance_ohm=stated_ohm), SURE).left_wh(power_w)
    assert left == pytest.approx(25.0 * volts[above].sum() / 10_000, rel=1.5e-3)


def test_a_new_reserve_recomputes_value_and_variance() -> None:
    changed, plain = Pack(LI_ION, SURE), Pack(replace(LI_ION, reserve_fraction=0.7), SURE)
    changed.summary(300.0)
    changed.set_reserve(0.7)
    assert changed.summary(300.0) == plain.summary(300.0)
    assert changed.left_spread(300.0).own_variance != pytest.approx(
        Pack(LI_ION, SURE).left_spread(300.0).own_variance, rel=0.01
    )


def corrected() -> Pack:
    """Return a pack whose rested voltages showed less capacity than stated."""
    pack = Pack(replace(LI_ION, capacity_sd=0.15), SURE)
    pack.fold(rest(LI_ION, 1.0, 30))
    pack.fold(seconds(np.full(3600, 50.0), np.full(3600, 10.0), 30.0))
    # 10 of 20 Ah are drawn: half is left, not the 0.6 of a pack of 25 Ah.
    pack.fold(rest(LI_ION, 0.5, 2400, begin_s=3630.0, drawn_ah=10.0))
    return pack


def test_a_corrected_capacity_counts_in_what_is_left() -> None:
    pack = corrected()
    known = float(pack.count.state.mean[CAPACITY])
    assert known < -0.05
    assert pack.full.value == pytest.approx(25.0 * (1 + known) * 14 * TABLE.mean_v)
    for power_w in (0.0, 500.0):
        assert pack.left_wh(power_w) == pytest.approx(pack.left_spread(power_w).value, rel=1e-9)


def test_the_gradient_is_the_change_with_each_error() -> None:
    # By differences: the same pack with a little more charge at the start, and a little larger.
    pack = Pack(replace(LI_ION, start_fraction=0.6), SURE)
    spread, step = pack.left_spread(400.0), 1e-5
    for error in (START, CAPACITY):
        kept = pack.count.as_dict()
        kept["fraction" if error == START else "capacity_error"] += step
        moved = Pack(replace(LI_ION, start_fraction=0.6), SURE)
        moved.resume(kept, Away(0.0))
        change = (moved.left_spread(400.0).value - spread.value) / step
        assert spread.gradient[error] == pytest.approx(change, rel=3e-3)


def test_the_interval_of_energy_left_is_that_of_sampled_packs_after_a_rest() -> None:
    # Errors sampled from the filter's covariance, the cells' curve included: the energy of each by
    # the trapezoidal rule, down to a fifth of its own. A rest ties the charge to the curve.
    vague = replace(LI_ION, start_fraction=0.6, start_sd=0.1, resistance_ohm=1e-6)
    pack = Pack(vague, Sensors())
    pack.fold(rest(vague, 0.6, 60))
    state, spread = pack.count.state, pack.left_spread(0.0)
    rng = np.random.default_rng(8)
    errors = rng.multivariate_normal(np.zeros(SIZE), state.covariance, 4000)
    at, found = TABLE.fraction, []
    for error in errors:
        volts = 14 * (TABLE.ocv_v + TABLE.knot_v(at) @ error[CURVE])
        energy = np.concatenate([[0.0], np.cumsum((volts[1:] + volts[:-1]) / 2)]) / (len(at) - 1)
        here = np.interp(fraction(pack) + error[START], at, energy)
        left = max(float(here - 0.2 * energy[-1]), 0.0)
        found.append(left * 25.0 * (1 + state.mean[CAPACITY] + error[CAPACITY]))
    sd = np.sqrt(spread.variance(pack.covariance))
    # 4000 samples give a standard deviation to 1.1 %; the energy is not quite linear in the charge.
    assert np.std(found) == pytest.approx(sd, rel=0.06)
    assert np.mean(found) == pytest.approx(spread.value, rel=0.02)


# Information from a rested voltage.


def test_a_full_charge_stated_at_rest_survives_the_rest() -> None:
    # The rest before it indicated a pack at 0.6; that voltage is outdated.
    pack = Pack(replace(LI_ION, start_fraction=0.6, start_sd=0.1), Sensors())
    pack.fold(rest(LI_ION, 0.6, 60))
    assert pack.count.resting
    pack.charged_full()
    assert fraction(pack) == pytest.approx(1.0)
    assert not pack.count.resting
    pack.fold(rest(LI_ION, 1.0, 60, begin_s=60.0))
    assert fraction(pack) == pytest.approx(1.0, abs=0.02)
    assert not pack.contradicted


@pytest.mark.parametrize("amps_a", [0.9, 0.5])
def test_the_rested_voltage_is_that_at_no_load(amps_a: float) -> None:
    # A weak pack of 0.6 ohm: its instruments' current lowers its voltage.
    weak = replace(LI_ION, resistance_ohm=0.6, start_fraction=0.6, start_sd=0.3)
    still, drawn = Pack(weak, SURE), Pack(weak, SURE)
    settled = rest(weak, 0.6, 30)
    still.fold(settled)
    drawn.fold(seconds(settled.volts_v - 0.6 * amps_a, np.full(30, amps_a)))
    found = [pack.count.state.fraction(0.0, 30.0)[0] for pack in (still, drawn)]
    assert found[1] == pytest.approx(found[0], abs=0.006)
    wrong_way = Pack(weak, SURE)
    wrong_way.fold(seconds(settled.volts_v - 2 * 0.6 * amps_a, np.full(30, 0.0)))
    assert wrong_way.count.state.fraction(0.0, 30.0)[0] < found[0] - 0.015


def test_the_resistance_uncertainty_is_divided_by_cells() -> None:
    weak = replace(LI_ION, resistance_ohm=0.3, start_fraction=0.6, start_sd=0.3)
    pack = Pack(weak, SURE)
    settled = rest(weak, 0.6, 30)
    pack.fold(seconds(settled.volts_v - 0.3 * 0.9, np.full(30, 0.9)))
    # By hand: 8 mV for a pack at power-on, and 0.6 of 0.3 ohm at 0.9 A over 14 cells.
    sd_v = np.hypot(0.008, USUAL_OHM_SD_FRACTION * 0.3 * 0.9 / 14)
    begin = ChargeState(25.0, 0.6, 0.0, 0.0, np.zeros(SIZE), prior(SURE, weak, TABLE))
    seen = begin.anchored(TABLE, float(settled.volts_v[0]) / 14, sd_v, 0.9 * 30 / 3600, 30.0)
    by_hand = seen.covariance[START, START]
    assert pack.covariance[START, START] == pytest.approx(by_hand, rel=1e-3)


def test_a_voltage_that_reads_high_makes_the_pack_seem_fuller() -> None:
    # True voltage over the corrected one: where that is larger the pack is fuller than it seems.
    state = ChargeState(25.0, 0.6, 0.0, 0.0, np.zeros(SIZE), prior(Sensors(), LI_ION, TABLE))
    wide = state.covariance.copy()
    wide[START, START] = 0.2**2
    state = replace(state, covariance=wide)
    volts = float(np.interp(0.6, TABLE.fraction, TABLE.ocv_v))
    after = state.anchored(TABLE, volts, 0.002, 0.0, 0.0)
    assert after.covariance[START, VOLTAGE] > 0
    # Compared with the voltage of a sensor known to read low by one standard deviation.
    sd = Sensors().voltage_scale_sd
    low = state.anchored(TABLE, volts * (1 + sd), 0.002, 0.0, 0.0)
    assert low.mean[START] > after.mean[START]


@pytest.mark.parametrize(("volts_v", "least", "most"), [(14 * 2.5, 0.0, 0.05), (61.0, 0.9, 1.0)])
def test_a_contradicted_pack_is_neither_under_empty_nor_over_full(volts_v, least, most) -> None:
    pack = Pack(replace(LI_ION, start_fraction=0.6, start_sd=0.02), SURE)
    pack.fold(seconds(np.full(30, volts_v), np.full(30, 0.0)))
    assert pack.contradicted
    assert least - 1e-9 <= pack.count.state.fraction(0.0, 30.0)[0] <= most + 1e-9


def test_a_pause_within_a_ride_widens_the_count() -> None:
    # Off for half an hour without a running counter: 3 % may have been drawn unseen.
    pack = Pack(LFP, SURE)
    pack.fold(seconds(np.full(60, 26.0), np.full(60, 9.0)))
    before = charge_and_sd(pack, pack.count.charge_ah, 60.0)
    pack.count.was_off(61.0, Away(1800.0))
    pack.fold(seconds(np.full(60, 26.0), np.full(60, 9.0), 60.0, 60 * 9 / 3600))
    after = charge_and_sd(pack, 0.15, 60.0)
    assert after[0] == pytest.approx(before[0])
    assert after[1] == pytest.approx(np.hypot(before[1], 0.03), rel=1e-3)
    assert pack.count.recharge_unknown_since_s is not None


def test_a_short_pause_asks_nothing() -> None:
    pack = Pack(LFP, SURE)
    pack.fold(seconds(np.full(60, 26.0), np.full(60, 9.0)))
    pack.count.was_off(61.0, Away(500.0))
    pack.fold(seconds(np.full(60, 26.0), np.full(60, 9.0), 60.0, 60 * 9 / 3600))
    assert pack.count.recharge_unknown_since_s is None
    assert pack.if_charged is None
