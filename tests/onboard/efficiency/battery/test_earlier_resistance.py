"""The resistance carried over: widened for another day, temperature and charge, and outweighed."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from onboard.contract.figure import Unknown
from onboard.efficiency.battery.earlier_resistance import EarlierResistance
from onboard.efficiency.battery.pack import PACK_DEGC, Pack
from onboard.efficiency.battery.recharge import Away
from onboard.efficiency.sources.settled_seconds import SettledSeconds
from onboard.profile import Battery, Sensors
from tests.onboard.efficiency.battery.made_packs import LI_ION, load

EARLIER = EarlierResistance(0.05, 0.001, 0.07, 0.002, 0.5, 20.0)
UNSTATED = replace(LI_ION, resistance_ohm=None)


def test_the_same_conditions_widen_it_for_another_day() -> None:
    ohm, sd = EARLIER.immediate(0.5, 20.0)
    assert (ohm, sd) == pytest.approx((0.05, 0.05 * math.hypot(0.02, 0.15)))
    assert EARLIER.lasting(0.5, 20.0)[0] == 0.07


def test_the_cold_raises_it() -> None:
    # Common practice: two to three times at 0 degC what it is at 25.
    ratio = EARLIER.immediate(0.5, 0.0)[0] / EARLIER.immediate(0.5, 25.0)[0]
    assert 2.0 < ratio < 3.0
    assert EARLIER.immediate(0.5, 0.0)[1] > 2 * EARLIER.immediate(0.5, 20.0)[1]


@pytest.mark.parametrize(("fraction", "degc"), [(0.5, math.nan), (0.1, 20.0), (1.0, 20.0)])
def test_what_is_not_known_or_differs_only_widens(fraction: float, degc: float) -> None:
    ohm, sd = EARLIER.immediate(fraction, degc)
    assert ohm == 0.05
    assert sd > 1.15 * EARLIER.immediate(0.5, 20.0)[1]


def warm(settled: SettledSeconds, degc: float) -> SettledSeconds:
    return replace(settled, readings={PACK_DEGC: np.full(len(settled), degc)})


def rode(degc: float | None = None) -> Pack:
    """Return a pack after a ride in steps, of 0.05 ohm."""
    pack, amps = Pack(UNSTATED, Sensors()), np.tile(np.repeat([5.0, 20.0], 120), 8)
    settled = load(LI_ION, amps)
    pack.fold(settled if degc is None else warm(settled, degc))
    return pack


def resumed(pack: Pack, battery: Battery = UNSTATED) -> Pack:
    after = Pack(battery, Sensors())
    after.resume(json.loads(json.dumps(pack.as_dict())), Away())
    return after


def test_the_next_ride_begins_with_what_was_measured() -> None:
    assert isinstance(Pack(UNSTATED, Sensors()).summary(300.0).resistance_ohm, Unknown)
    shown = resumed(rode()).summary(300.0).resistance_ohm
    assert shown.value == pytest.approx(0.05, rel=0.02)
    assert shown.low < 0.04 and shown.high > 0.06
    # The guess for such a pack is 0.056 to a factor: energy left is surer from the first second.
    first, later = Pack(UNSTATED, Sensors()), resumed(rode())
    assert later.left_spread(1500.0).own_variance < first.left_spread(1500.0).own_variance


def test_a_reported_temperature_is_kept_and_followed() -> None:
    after = resumed(rode(20.0))
    assert after.as_dict()["resistance"]["temperature_degc"] == 20.0
    by_hand = 0.05 * math.exp(0.035 * 20.0)
    after.fold(warm(load(LI_ION, np.full(5, 5.0)), 0.0))
    assert after.summary(300.0).resistance_ohm.value == pytest.approx(by_hand, rel=0.02)
    # A reading that stops stays; one that never came is none.
    after.fold(warm(load(LI_ION, np.full(5, 5.0), begin_s=5.0), math.nan))
    assert after.summary(300.0).resistance_ohm.value == pytest.approx(by_hand, rel=0.02)
    assert rode().as_dict()["resistance"]["temperature_degc"] is None


def test_what_is_measured_outweighs_it() -> None:
    weak = EarlierResistance(0.2, 0.001, 0.3, 0.002, 0.5, None)
    pack = Pack(UNSTATED, Sensors())
    pack.resume({**Pack(UNSTATED, Sensors()).as_dict(), "resistance": weak.as_dict()}, Away())
    assert pack.summary(300.0).resistance_ohm.value == pytest.approx(0.2)
    pack.fold(load(LI_ION, np.tile(np.repeat([5.0, 20.0], 120), 8)))
    assert pack.summary(300.0).resistance_ohm.value == pytest.approx(0.05, rel=0.02)


def test_a_ride_that_measures_nothing_hands_on_what_it_got() -> None:
    first = rode()
    second = resumed(first)
    second.fold(load(LI_ION, np.full(600, 5.0)))
    assert second.as_dict()["resistance"] == first.as_dict()["resistance"]


@pytest.mark.parametrize(
    "spoilt",
    [
        {},
        "much",
        {**EARLIER.as_dict(), "lasting_ohm": None},
        {**EARLIER.as_dict(), "immediate_ohm": -0.1},
        {**EARLIER.as_dict(), "immediate_sd_ohm": 0.0},
        {**EARLIER.as_dict(), "temperature_degc": float("inf")},
        {**EARLIER.as_dict(), "fraction": float("nan")},
    ],
)
def test_an_impossible_one_is_refused(spoilt: object) -> None:
    with pytest.raises(ValueError, match="kept resistance"):
        EarlierResistance.read(spoilt)
