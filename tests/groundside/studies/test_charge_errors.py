"""The charge and energy expected back, against numbers by hand and published limits."""

from dataclasses import replace

import numpy as np
import pytest

from groundside.studies.charge_balance import Unlogged, added
from groundside.studies.charge_errors import expected_ah as ah_and_parts
from groundside.studies.charge_errors import expected_wh as wh_and_parts
from groundside.studies.charge_errors import fits
from onboard.contract.figure import Figure
from onboard.efficiency.statistics.shared_errors import prior_covariance
from onboard.profile import Sensors
from tests.groundside.studies.made_charges import charge, conditions, counted


def expected_ah(charges, known) -> Figure:
    return ah_and_parts(charges, known).figure


def expected_wh(charges, known) -> Figure:
    return wh_and_parts(charges, known).figure


def test_charge_returned_is_within_that_of_healthy_cells() -> None:
    # Lithium cells give back approximately all charge (Batteries 2019, 5(3), 57): 0.99 to 1.01.
    expected = expected_ah([charge(20.0)], conditions(meter_sd_fraction=0.0))
    assert expected.value == 20.0
    assert expected.low <= 20.0 / 1.01
    assert expected.high >= 20.0 / 0.99
    # By hand: 20 x 0.01 / sqrt 3 and 0.005 x 25, both at 1.96 sd.
    assert expected.high - 20.0 == pytest.approx(1.96 * np.hypot(0.11547, 0.125), rel=1e-4)


def test_the_sensor_scale_under_test_widens_the_count_but_not_the_expectation() -> None:
    sensors = Sensors(current_scale_sd=0.02, current_offset_sd_a=0.1, voltage_scale_sd=0.005)
    one = counted(20.0, amps=10.0)
    covariance = prior_covariance(sensors, None)
    figure = one.charge_spread().figure(covariance)
    assert figure.high - 20.0 == pytest.approx(1.96 * np.hypot(0.02 * 20.0, 0.1 * 2.0), rel=1e-4)
    energy = one.energy_spread().figure(covariance)
    by_hand = np.sqrt((0.02 * 1000) ** 2 + (0.005 * 1000) ** 2 + (0.1 * 100) ** 2)
    assert energy.high - 1000.0 == pytest.approx(1.96 * by_hand, rel=1e-4)
    surer = replace(sensors, current_scale_sd=0.0)
    for expected in (expected_ah, expected_wh):
        assert expected([charge(20.0)], conditions(sensors)) == expected(
            [charge(20.0)], conditions(surer)
        )
    wide, narrow = (
        expected_ah([charge(20.0)], conditions(replace(sensors, current_offset_sd_a=sd)))
        for sd in (0.1, 0.0)
    )
    assert wide.high > narrow.high


def test_energy_returned_includes_the_losses_of_the_chemistry() -> None:
    # 25 Ah drawn at 12.5 A and charged at 5 A: 0.5 and 0.2 of the pack an hour. Energy out over in
    # there, simulated (PyBaMM 26.10, DFN): LFP (Prada) 0.9595; Li-ion 0.9486 (Chen), 0.9845
    # (Mohtat).
    for chemistry, fractions in (("lfp", (0.9595,)), ("li-ion", (0.9486, 0.9845))):
        known = conditions(chemistry=chemistry, charge_a=5.0)
        expected = expected_wh([charge(20.0, amps=12.5)], known)
        of_cells = 1000.0 * np.mean([1.0 / fraction for fraction in fractions])
        assert expected.value == pytest.approx(
            of_cells + 5.0, rel=1e-3
        )  # the wiring's half per cent
        for fraction in fractions:
            assert expected.low < 1000.0 / fraction < expected.high
        unknown = expected_wh([charge(20.0, amps=12.5)], conditions(chemistry=chemistry))
        assert unknown.high - unknown.low > expected.high - expected.low
    either = expected_wh([charge(20.0)], conditions(chemistry=None, pack_ah=None))
    assert either.high - either.low > 0.1 * either.value


@pytest.mark.parametrize("chemistry", ["lfp", "li-ion"])
def test_no_pack_gives_back_more_than_it_took(chemistry: str) -> None:
    # With unknown rates the losses might come out negative; the interval ends at zero.
    exact = conditions(chemistry=chemistry, pack_ah=None, meter_sd_fraction=0.0)
    expected = expected_wh([charge(20.0)], exact)
    losses = expected.value - 1000.0
    # The uncertainty from charge alone: 0.01 / sqrt 3, and 0.5 % of four times the charge used.
    other = 1.96 * expected.value * np.hypot(0.0057735, 0.005 * 4.0)
    assert expected.value - expected.low == pytest.approx(np.hypot(losses, other), rel=1e-3)
    assert expected.high - expected.value > np.hypot(losses, other)


def test_at_the_wall_the_charger_loses_too() -> None:
    # Chargers of 85 to 93 % (common practice, no source) over packs that lose 0 to 5 %.
    known = conditions(at_wall=True)
    expected = expected_wh([charge(20.0)], known)
    assert expected.low < 1000.0 / 0.93 < expected.value < 1000.0 / 0.85 * 1.05 < expected.high
    beside = expected_wh([charge(20.0)], conditions())
    assert expected.high - expected.low > beside.high - beside.low


def test_an_unlogged_drain_shifts_and_widens() -> None:
    plain = expected_ah([charge(20.0)], conditions())
    perhaps = expected_ah([charge(20.0, unlogged=Unlogged(most_ah=0.24))], conditions())
    assert perhaps.value == pytest.approx(20.12)
    own = 0.24**2 / 8.0 + 0.125**2
    reach = 1.959964 * np.sqrt((20.12 * np.hypot(0.01, 0.01 / 3**0.5)) ** 2 + own)
    assert perhaps.high - 20.12 == pytest.approx(reach, rel=1e-6)
    assert perhaps.high - perhaps.value > plain.high - plain.value
    stated = expected_ah([charge(20.0, unlogged=Unlogged(0.4, 0.1))], conditions())
    assert stated.value == pytest.approx(20.4)
    assert stated.high - stated.value > plain.high - plain.value
    energy = expected_wh([charge(20.0)], conditions())
    more = expected_wh([charge(20.0, unlogged=Unlogged(0.4))], conditions())
    assert more.value == pytest.approx(energy.value * 20.4 / 20.0)
    above = expected_wh([charge(20.0, unlogged=Unlogged(most_ah=0.4))], conditions())
    assert above.value == pytest.approx(energy.value * 20.2 / 20.0)
    assert above.high - above.low > energy.high - energy.low


def test_the_moments_of_an_unlogged_drain_are_those_of_the_u_shaped_distribution() -> None:
    # JCGM 101:2008, 6.4.6.1: half the width times the sine of a uniform angle, about the middle.
    angle = np.random.default_rng(4).uniform(0.0, 2.0 * np.pi, 200_000)
    drawn = 0.6 + 0.6 * np.sin(angle)
    allowed = Unlogged(most_ah=1.2)
    assert allowed.mean_ah == pytest.approx(drawn.mean(), rel=0.01)
    assert allowed.alike_sd_ah == pytest.approx(drawn.std(), rel=0.01)
    assert allowed.own_sd_ah == 0.0


def test_several_charges_share_meter_and_pack_errors_but_not_the_repeatability_of_full() -> None:
    one = expected_ah([charge(20.0)], conditions())
    four = expected_ah([charge(20.0)] * 4, conditions())
    assert four.value == 80.0
    # Alike: the pack's, and 85 % of the variance of the meter's; the rest differs each time.
    alike = 80.0**2 * (0.85 * 0.01**2 + 0.01**2 / 3.0)
    reach = 1.96 * np.sqrt(alike + 4 * (0.125**2 + 0.15 * 0.2**2))
    assert four.high - 80.0 == pytest.approx(reach, rel=1e-3)
    assert 2.0 * (one.high - 20.0) < four.high - 80.0 < 4.0 * (one.high - 20.0)


def test_rides_add_up() -> None:
    both = added([counted(10.0, amps=5.0), counted(5.0, amps=20.0)])
    assert (both.charge_ah, both.energy_wh) == (15.0, 750.0)
    assert both.sensor_hours_h == pytest.approx(2.25)
    assert both.flowing_a == pytest.approx((10.0 * 5.0 + 5.0 * 20.0) / 15.0)


def test_gaps_widen_the_interval() -> None:
    known = counted(20.0)
    gappy = replace(known, bridged_variance_wh2=50.0**2)
    reaches = []
    for was in (known, gappy):
        expected = expected_ah([replace(charge(20.0), counted=was)], conditions())
        reaches.append((expected.high - 20.0) / 1.96)
    assert reaches[1] ** 2 - reaches[0] ** 2 == pytest.approx((50.0 / 50.0) ** 2, rel=1e-4)


def test_agreement_with_a_wide_interval_is_inconclusive() -> None:
    assert fits(10.0, Figure(10.0, 9.0, 11.0)) == "within"
    assert fits(10.0, Figure(10.0, 9.0, 12.0)) == "cannot_tell"
    assert fits(12.1, Figure(10.0, 9.0, 12.0)) == "more"
    assert fits(8.9, Figure(10.0, 9.0, 12.0)) == "less"


def test_a_worked_example() -> None:
    # Common practice, no source: 385 Wh put back after 11.3 km is 34 Wh/km and 60 % of a pack of
    # 640 Wh. With 368 Wh counted over 4 h, an LFP pack of 25 Ah loses as much as lies between.
    was = counted(368.0 / 25.6, amps=3.6, volts=25.6)
    expected = expected_wh([replace(charge(), counted=was)], conditions(chemistry="lfp"))
    assert fits(385.0, expected) == "within"
    assert expected.value / 11.3 == pytest.approx(34.0, abs=0.5)
    assert expected.value / 640.0 == pytest.approx(0.60, abs=0.01)
