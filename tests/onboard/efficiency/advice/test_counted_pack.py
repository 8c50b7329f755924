"""The pack while counted: its question, its saved state, silent instruments."""

import json
import math

import numpy as np
import pytest

from onboard.block import Block
from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.advice.counted_pack import CountedPack
from onboard.efficiency.battery.pack import Pack
from onboard.efficiency.battery.recharge import Away
from onboard.efficiency.battery.saved_charge import SavedCharge
from onboard.efficiency.common_practice import CHARGE_QUESTION_FROM_S, SILENT_S
from onboard.efficiency.meters.energy import EnergyMeter
from onboard.efficiency.parts import Parts
from onboard.efficiency.riding.present_riding import Scatter
from onboard.efficiency.sources.battery_side import BatterySide
from onboard.efficiency.sources.instruments import Instruments
from onboard.efficiency.sources.power_sources import PowerSources
from onboard.efficiency.statistics.shared_errors import CAPACITY, COUNT, Spread
from onboard.efficiency.trip.consumption import Stretch
from onboard.profile import Battery, Profile, Sensors
from tests.onboard.efficiency.advice.plain_pack import riding
from tests.onboard.efficiency.battery.made_packs import seconds
from tests.onboard.efficiency.sources.test_sources_silent import channel

LFP = Battery("lfp", 16, 20.0, resistance_ohm=1e-3, start_fraction=0.6)
RIDING = riding(400.0, cost=Scatter(0.0002, 0.0036, 0.5), draw=Scatter(0.0003, 0.0049, 0.5))


def metered(counter_ah: float | None, count: int = 60) -> tuple[PowerSources, CountedPack]:
    """Return a minute at 8 A on a pack whose autopilot has counted some charge, and the count."""
    power, t_s = PowerSources(Sensors()), np.arange(0.0, count)
    before = math.nan if counter_ah is None else counter_ah
    columns = {"pack": 0, "volts_v": 52.0, "amps_a": 8.0, "charge_out_ah": before + t_s * 8 / 3600}
    power.fold(Block({"battery": channel("battery", t_s, **columns)}))
    return power, CountedPack(Profile(battery=LFP), Parts(), power)


def resumed(away: Away, counter_ah: float | None) -> CountedPack:
    """Return the next run's pack, started with the autopilot's counter at `counter_ah` (was 5)."""
    _, counted = metered(counter_ah)
    counted.resume(json.loads(json.dumps(Pack(LFP, Sensors()).count.as_dict())), math.nan)
    counted.away(-math.inf, away, 5.0)
    counted.fold(seconds(np.full(50, 52.0), np.full(50, 8.0)))
    return counted


@pytest.mark.parametrize(
    ("away", "counter_ah", "fraction", "asks"),
    [
        # The autopilot ran on, and its counter went from 5 to 7 Ah: 2 of 20 Ah were drawn.
        (Away(7200.0, True), 7.0, 0.5, False),
        (Away(7200.0, True), 5.0, 0.6, False),
        # The counter was reset or absent, or the autopilot was off: unknown.
        (Away(7200.0, True), 1.0, 0.6, True),
        (Away(7200.0, True), None, 0.6, True),
        (Away(7200.0, False), 7.0, 0.6, True),
        (Away(60.0, False), 7.0, 0.6, False),
    ],
)
def test_a_counter_that_kept_running_gives_the_charge_drawn(
    away, counter_ah, fraction, asks
) -> None:
    counted = resumed(away, counter_ah)
    drawn = 8.0 * 50 / 3600 / 20
    found, _ = counted.pack.count.state.fraction(counted.pack.count.charge_ah, 50.0)
    assert found == pytest.approx(fraction - drawn, abs=1e-3)
    assert (counted.pack.count.recharge_unknown_since_s is not None) is asks


def test_the_question_waits_until_the_time_of_day_may_be_known() -> None:
    counted = resumed(Away(7200.0), None)
    for now_s, asked in (
        (1.0, 0),
        (CHARGE_QUESTION_FROM_S - 1.0, 0),
        (CHARGE_QUESTION_FROM_S + 1.0, 1),
    ):
        alerts = counted.question(now_s)
        assert [alert.code for alert in alerts] == ["charge_unsaid"] * asked
    counted.pack.charged(("charged_wh", 0.0))
    assert counted.question(100.0) == ()


def test_range_and_time_left_extend_to_those_of_a_full_pack_while_open() -> None:
    counted, full = resumed(Away(7200.0), None), Pack(LFP, Sensors())
    side = metered(None)[0].chosen()
    full.charged_full()
    pack = Pack(LFP, Sensors())
    minutes = Stretch(300.0, Spread.of_energy(33.3, 4.2), Spread(600.0, np.zeros(COUNT)))
    for found, wh_each in (
        (counted.range_now_m(side, RIDING), 400 / 2.0 / 3.6 / 1000),
        (counted.time_left_s(side, minutes, RIDING), 400 / 3600),
    ):
        assert isinstance(found, Figure)
        assert found.value == pytest.approx(pack.left_wh(400.0) / wh_each, rel=0.02)
        assert found.high > full.left_wh(400.0) / wh_each


def test_at_rest_the_time_left_is_that_of_the_power_now() -> None:
    # 20 W of instruments over the last five minutes, after riding at 400 W.
    power, counted = metered(None)
    side, pack = power.chosen(), Pack(LFP, Sensors())
    for made_m, power_w in ((10.0, 20.0), (600.0, 400.0)):
        energy = Spread.of_energy(20.0 * 300 / 3600, 4.2)
        minutes = Stretch(300.0, energy, Spread(made_m, np.zeros(COUNT)))
        found = counted.time_left_s(side, minutes, RIDING)
        assert found.value == pytest.approx(pack.left_wh(power_w) / power_w * 3600, rel=0.01)


def test_a_meter_that_is_silent_leaves_what_is_left_unknown() -> None:
    _, counted = metered(None)
    silent = Unknown(Reason.SOURCES_SILENT, sources=("battery 1",))
    assert counted.by(silent) is silent
    assert isinstance(counted.state(silent, RIDING).left_wh, Unknown)
    assert isinstance(counted.range_now_m(silent, RIDING), Unknown)
    assert isinstance(counted.time_left_s(silent, silent, RIDING), Unknown)
    none = CountedPack(Profile(), Parts(), PowerSources(Sensors()))
    assert isinstance(none.by(BatterySide((EnergyMeter(Sensors()),))), Unknown)


@pytest.mark.parametrize(
    ("silent_s", "known"), [(0.0, True), (SILENT_S - 1.0, True), (SILENT_S + 2.0, False)]
)
def test_charge_drawn_in_silence_is_not_saved(silent_s: float, known: bool) -> None:
    instruments, t_s = Instruments(Profile(), Parts()), np.arange(0.0, 60.0)
    until_s = t_s[-1] + silent_s
    more = np.arange(0.0, until_s + 0.5)
    gps = channel("gps", more, fix=3, speed_mps=2.0, course_deg=90.0)
    instruments.fold(Block({"power": channel("power", t_s, volts_v=50.0, amps_a=8.0), "gps": gps}))
    found = instruments.unless_silent(instruments.battery_side())
    assert isinstance(found, BatterySide) is known


KEPT = Pack(LFP, Sensors()).count.as_dict()


@pytest.mark.parametrize(
    ("changed", "can_be"),
    [
        ({}, True),
        ({"fraction": 1.4}, True),
        ({"fraction": 1.6}, False),
        ({"fraction": -0.6}, False),
        ({"fraction": math.nan}, False),
        ({"capacity_error": -0.4}, True),
        ({"capacity_error": -0.95}, False),
        ({"capacity_error": 1.2}, False),
        ({"covariance": (np.eye(COUNT) * -1e-3).tolist()}, False),
        ({"covariance": np.eye(3).tolist()}, False),
    ],
)
def test_a_saved_state_is_used_if_possible(changed: dict, can_be: bool) -> None:
    if can_be:
        read = SavedCharge.read(KEPT | changed, Pack(LFP, Sensors()).count.state, 0.0).state
        fraction, _ = read.fraction(0.0, 0.0)
        assert fraction == (KEPT | changed)["fraction"]
        assert read.mean[CAPACITY] == (KEPT | changed)["capacity_error"]
    else:
        with pytest.raises(ValueError, match="kept battery state"):
            SavedCharge.read(KEPT | changed, Pack(LFP, Sensors()).count.state, 0.0)


def test_a_corrected_capacity_survives_the_run() -> None:
    again = Pack(LFP, Sensors())
    again.resume(KEPT | {"capacity_error": -0.2}, Away(5.0, True, 0.0))
    assert again.full.value == pytest.approx(0.8 * Pack(LFP, Sensors()).full.value)
    # A tenth of its corrected capacity is drawn.
    again.fold(seconds(np.full(720, 52.0), np.full(720, 8.0)))
    assert again.count.state.fraction(1.6, 720.0)[0] == pytest.approx(0.6 - 0.1)
