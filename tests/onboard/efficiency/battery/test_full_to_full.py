"""The current sensor's gain from a charger's meter, by hand; and what shows none."""

import json
from dataclasses import replace

import numpy as np
import pytest

from onboard.efficiency.battery.charge_state import ChargeState
from onboard.efficiency.battery.full_to_full import ChargerLoop, GainReading, SinceFull
from onboard.efficiency.battery.pack import Pack
from onboard.efficiency.battery.pack_errors import SIZE
from onboard.efficiency.battery.recharge import Away
from onboard.efficiency.battery.round_trip import pack_loss
from onboard.efficiency.statistics.shared_errors import CAPACITY, GAIN
from onboard.profile import Sensors
from tests.onboard.efficiency.battery.made_packs import LFP, LI_ION, load, seconds

DRAWN = SinceFull(20.0, 20.0, 1000.0, 2.0)


def fresh() -> ChargeState:
    return Pack(LFP, Sensors(current_offset_sd_a=0.0)).count.state


def test_the_gain_by_charge_is_that_worked_out_by_hand() -> None:
    # 35 Ah; 20 counted, 20.5 put back; up to 1 % drawn unlogged on every second charge: 0.0875 Ah
    # on the mean, sd 0.35 sqrt(1/6 - 1/16); full to half a per cent, at both ends.
    found = replace(DRAWN, put_ah=20.5).reading("lfp", 35.0)
    assert found.gain == pytest.approx((20.5 - 0.0875) / 20.0 - 1.0)
    assert found.sd == pytest.approx(np.hypot(np.sqrt(2) * 0.175, 0.35 * np.sqrt(5 / 48)) / 20.0)
    assert found.meter_sd == pytest.approx(np.hypot(0.01, 0.01 / np.sqrt(3)))
    assert (found.hours_per_ah, found.loss_sd) == (0.1, 0.0)


def test_the_gain_by_energy_allows_for_the_pack_s_loss() -> None:
    loss = pack_loss("lfp")
    found = replace(DRAWN, put_wh=1000.0 * (1 + loss.fraction) * 1.03).reading("lfp", 35.0)
    assert found.gain == pytest.approx(0.03 - 0.0875 / 20.0)
    assert found.loss_sd == loss.sd


@pytest.mark.parametrize(
    "since",
    [
        DRAWN,  # nothing put back
        replace(DRAWN, put_ah=20.0, put_wh=1000.0),  # by two units
        replace(DRAWN, charge_ah=6.9, put_ah=7.0),  # a fifth of the pack is the least
        replace(DRAWN, measured_wh=0.0, put_wh=1000.0),  # no voltage to compare energies by
    ],
)
def test_what_shows_no_gain(since: SinceFull) -> None:
    assert since.reading("lfp", 35.0) is None


def test_one_reading_moves_the_gain_as_a_weighted_mean_does() -> None:
    # By hand: 0.02 stated; 0.01 of the meter, 0.004 of its own: weights of their precisions.
    state = GainReading(0.03, 0.004, 0.01, 0.1, 0.0).applied(fresh())
    variance = 0.01**2 + 0.004**2
    assert state.mean[GAIN] == pytest.approx(0.03 * 0.02**2 / (0.02**2 + variance))
    by_hand = 1.0 / (1.0 / 0.02**2 + 1.0 / variance)
    assert state.covariance[GAIN, GAIN] == pytest.approx(by_hand)


def test_a_hundred_charges_do_not_average_out_the_meter() -> None:
    state = fresh()
    for _ in range(100):
        state = GainReading(0.01, 0.01, 0.01, 0.1, 0.0).applied(state)
    # The meter's 0.01 and the profile's 0.02 together.
    least = 1.0 / np.sqrt(1 / 0.01**2 + 1 / 0.02**2)
    assert least < np.sqrt(state.covariance[GAIN, GAIN]) < 1.1 * least
    assert state.mean[GAIN] < 0.0095


def test_charges_by_energy_and_by_charge_together_do_not_cancel_the_meter() -> None:
    state = fresh()
    for n in range(60):
        state = GainReading(0.01, 0.01, 0.01, 0.1, 0.03 * (n % 2)).applied(state)
    assert np.sqrt(state.covariance[GAIN, GAIN]) > 0.0085


def test_a_reading_that_contradicts_the_sensor_is_not_used() -> None:
    # A meter at the wall reads 15 % more.
    state = fresh()
    assert GainReading(0.15, 0.01, 0.012, 0.1, 0.0).applied(state) is state
    assert GainReading(-0.15, 0.01, 0.012, 0.1, 0.0).applied(state) is state


def test_a_known_capacity_over_gain_stays_known() -> None:
    # A sensor that reads 2 % low counted a pack 2 % small: both move together.
    state = fresh()
    covariance = state.covariance.copy()
    covariance[CAPACITY, CAPACITY] = covariance[CAPACITY, GAIN] = 0.02**2
    covariance[GAIN, CAPACITY] = 0.02**2
    state = GainReading(0.02, 0.002, 0.002, 0.1, 0.0).applied(replace(state, covariance=covariance))
    assert state.mean[CAPACITY] == pytest.approx(state.mean[GAIN])
    over = np.zeros(SIZE)
    over[CAPACITY], over[GAIN] = 1.0, -1.0
    assert over @ state.covariance @ over == pytest.approx(0.0, abs=1e-12)


def loop(*steps: str) -> ChargerLoop:
    """Return a loop after steps: full, 12 Ah drawn, 12.3 Ah or Wh put back, an unmetered charge."""
    made = ChargerLoop("lfp", 20.0)
    for step in steps:
        if step == "full":
            made = made.full()
        elif step == "drawn":
            made.count(12.0, 12.0 * 3600, 600.0 * 3600)
        elif step == "hotel":
            made.count(0.1, 360.0, 18000.0)
        elif step == "put":
            made = made.put(("charged_ah", 12.3))
        else:
            made = made.broken()
    return made


@pytest.mark.parametrize(
    ("steps", "found"),
    [
        ("full drawn put full", 1),
        ("full drawn full put", 1),  # said the other way round
        ("full drawn hotel full hotel put", 1),
        ("full drawn full full put", 1),  # full, said twice
        ("full drawn put full drawn put full", 2),
        ("full drawn drawn put put full", 1),
        ("drawn put full", 0),  # not known to be full before
        ("full drawn full", 0),
        ("full drawn broken put full", 0),
        ("full drawn full drawn put", 0),  # which charge was it?
        ("full put full", 0),
    ],
)
def test_what_closes_a_loop(steps: str, found: int) -> None:
    made = loop(*steps.split())
    assert len(made.readings) == found
    for reading in made.readings:
        assert reading.gain == pytest.approx(0.3 / 12.0, abs=0.014)


def rides(pack: Pack, *, put_ah: float | None, question: str = "answered") -> Pack:
    """Return the next ride's pack, after a ride from full, a charge and a night."""
    pack.charged_full()
    pack.fold(load(LI_ION, np.full(3600, 15.0)))
    after = Pack(LI_ION, Sensors())
    after.resume(json.loads(json.dumps(pack.as_dict())), Away())
    after.count.away(-np.inf, Away(40000.0))
    after.fold(load(LI_ION, np.full(2, 0.1), start=1.0))
    if question == "ridden on":
        after.fold(load(LI_ION, np.full(120, 15.0), begin_s=2.0))
    if put_ah is not None:
        after.charged(("charged_ah", put_ah))
    after.charged_full()
    return after


def test_a_charge_counts_from_the_next_ride_on_and_is_shown_at_once() -> None:
    after = rides(Pack(LI_ION, Sensors()), put_ah=15.3)
    known = after.learned()
    assert after.covariance[GAIN, GAIN] == pytest.approx(0.02**2)
    assert known.charges == 1
    assert 1.005 < known.current_scale.value < 1.02
    assert known.current_scale.high - known.current_scale.low < 0.065
    third = Pack(LI_ION, Sensors())
    third.resume(json.loads(json.dumps(after.as_dict())), Away())
    assert third.covariance[GAIN, GAIN] < 0.017**2
    assert third.learned().charges == 1
    assert third.count.state.mean[GAIN] == 0.0


@pytest.mark.parametrize(
    ("put_ah", "question"), [(None, "answered"), (15.3, "ridden on"), (45.0, "answered")]
)
def test_a_charge_that_may_not_be_all_teaches_nothing(put_ah, question) -> None:
    # Unmetered; stated when the craft was ridden on, so there may have been another; mistyped.
    after = rides(Pack(LI_ION, Sensors()), put_ah=put_ah, question=question)
    assert after.learned().charges == 0


def test_a_stated_share_or_an_unmetered_charge_shown_by_the_voltage_breaks_the_loop() -> None:
    for say in (lambda pack: pack.charged(("left_fraction", 0.8)), None):
        pack = Pack(LI_ION, Sensors())
        pack.charged_full()
        pack.fold(load(LI_ION, np.full(3600, 15.0)))
        if say is None:
            pack.count.was_off(40000.0, Away(36000.0))
            # Full again at power-on, by its voltage.
            pack.fold(load(LI_ION, np.full(30, 0.1), start=1.6, begin_s=40000.0, drawn_ah=15.0))
            pack.fold(seconds(np.full(600, 50.0), np.full(600, 15.0), 40030.0, 15.0))
        else:
            say(pack)
        pack.charged(("charged_ah", 5.0))
        pack.charged_full()
        assert pack.learned().charges == 0


def test_not_charged_is_no_charge() -> None:
    pack = Pack(LI_ION, Sensors())
    pack.charged_full()
    pack.fold(load(LI_ION, np.full(3600, 15.0)))
    pack.charged(("charged_wh", 0.0))
    pack.charged(("charged_ah", 15.2))
    pack.charged_full()
    assert pack.learned().charges == 1


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("gain_readings", [[0.01, 0.0, 0.01, 0.1, 0.0]]),
        ("gain_readings", [[0.01, 0.01]]),
        ("gain_readings", [None]),
        ("since_full", {"charge_ah": 1.0}),
        ("since_full", {**DRAWN.as_dict(), "put_ah": "much"}),
        ("since_full", {**DRAWN.as_dict(), "put_ah": float("nan")}),
        ("rests", "many"),
    ],
)
def test_an_impossible_saved_loop_is_refused(key: str, value: object) -> None:
    kept = Pack(LI_ION, Sensors()).as_dict() | {key: value}
    with pytest.raises(ValueError, match="kept battery state"):
        Pack(LI_ION, Sensors()).resume(kept, Away())


def test_charge_in_the_sensor_s_units_is_the_same_for_any_partition() -> None:
    amps = np.repeat([3.0, 20.0, 0.0, 8.0], 400)
    found = []
    for cuts in (1, 9, 160):
        pack = Pack(LI_ION, Sensors())
        pack.charged_full()
        settled = load(LI_ION, amps)
        for part in np.array_split(np.arange(len(amps)), cuts):
            pack.fold(settled.part(part[0], part[-1] + 1))
        found.append(pack.as_dict()["since_full"])
    assert found[0] == found[1] == found[2]
    assert found[0]["measured_wh"] == pytest.approx(float(settled.power_w.sum()) / 3600.0)
    assert found[0]["charge_ah"] == pytest.approx(float(settled.charge_ah[-1]))
