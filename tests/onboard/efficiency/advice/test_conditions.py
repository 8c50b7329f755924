"""The conditions of alerts: each raises its own alert."""

from dataclasses import replace

import numpy as np
import pytest

from onboard.contract.alerts import Alert
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import unknown_figures
from onboard.efficiency.advice.conditions import AlertConditions
from onboard.efficiency.advice.observations import AdviceObserved, CountersObserved
from onboard.efficiency.battery.pack import Pack
from onboard.efficiency.sources.power_sources import SourceDecision
from onboard.efficiency.sources.settled_seconds import SettledSeconds
from onboard.profile import Drive, Profile, Sensors
from tests.onboard.efficiency.advice.made_seconds import settled
from tests.onboard.efficiency.battery.made_packs import LI_ION, rest

HOT_DEGC = 70.0
NO_TARGET = Unknown(Reason.NOT_HEARD)


def conditions() -> AlertConditions:
    return AlertConditions(Profile(drive=Drive(temperature_most_degc=HOT_DEGC)), cutoff_v=42.0)


def on(alerts: AlertConditions, t_s: float = 1e4) -> set[str]:
    return {alert.code for alert in now(alerts, t_s)}


def now(alerts: AlertConditions, t_s: float) -> tuple[Alert, ...]:
    """Return the standing alerts, without values of present figures."""
    return alerts.alerts(unknown_figures(NO_TARGET, t_s, "plain"))


def pack(left_fraction: float) -> Pack:
    """Return a pack at a share of full, with a fifth of its energy as reserve."""
    return Pack(replace(LI_ION, start_fraction=left_fraction), Sensors())


@pytest.mark.parametrize(
    ("start_fraction", "expected"),
    [
        # A fifth of the energy is 0.22 of the charge; a tenth more about 0.32.
        (0.60, set()),
        (0.35, set()),
        (0.30, {"energy_low"}),
        (0.24, {"energy_low"}),
        (0.22, {"reserve_reached"}),
        (0.05, {"reserve_reached"}),
    ],
)
def test_low_energy_and_reserve_are_raised(start_fraction: float, expected: set[str]) -> None:
    alerts, some = conditions(), pack(start_fraction)
    for t_s in (10.0, 20.0):
        alerts.observe_pack(t_s, some, 0.0)
    assert on(alerts) == expected
    levels = {alert.code: alert.level for alert in now(alerts, 30.0)}
    assert levels == dict.fromkeys(
        expected, "danger" if "reserve_reached" in expected else "warning"
    )


def test_the_reserve_is_reached_sooner_under_load() -> None:
    # At the cut-off under load nothing can be drawn, though a third of the charge is there.
    alerts, weak = conditions(), replace(LI_ION, resistance_ohm=0.5, start_fraction=0.35)
    some = Pack(weak, Sensors())
    alerts.observe_pack(10.0, some, 0.0)
    alerts.observe_pack(20.0, some, 0.0)
    assert on(alerts) == set()
    alerts.observe_pack(30.0, some, 1500.0)
    alerts.observe_pack(40.0, some, 1500.0)
    assert on(alerts) == {"reserve_reached"}


def test_the_energy_until_an_alert_is_returned() -> None:
    # 14 cells of 25 Ah: a tenth of full is about 132 Wh.
    some = pack(0.6)
    off_wh = conditions().observe_pack(10.0, some, 0.0)
    assert off_wh == pytest.approx(some.left_wh(0.0) - 0.1 * some.full.value)
    assert off_wh < some.left_wh(0.0) - 120.0


def test_a_contradicted_charge_is_raised() -> None:
    for start_fraction, expected in ((1.0, True), (0.5, False)):
        alerts, some = conditions(), pack(start_fraction)
        some.fold(rest(LI_ION, 0.5, 30))
        alerts.observe_pack(30.0, some, 0.0)
        assert ("battery_contradicted" in on(alerts)) is expected


@pytest.mark.parametrize(
    ("apart_ah", "charge_ah", "expected"),
    [
        # A twentieth of the charge, and 0.1 Ah.
        (0.55, 10.0, False),
        (0.65, 10.0, True),
        (-0.55, 10.0, False),
        (-0.65, 10.0, True),
        (0.15, -2.0, False),
        (0.25, -2.0, True),
    ],
)
def test_counters_that_disagree_either_way_are_raised(apart_ah, charge_ah, expected) -> None:
    alerts = conditions()
    alerts.observe(CountersObserved(10.0, apart_ah, charge_ah))
    assert ("counters_disagree" in on(alerts)) is expected


def test_turn_back_is_raised_while_its_condition_lasts() -> None:
    alerts = conditions()
    alerts.observe(AdviceObserved(10.0, True, NO_TARGET))
    assert on(alerts) == {"turn_back"}
    alerts.observe(AdviceObserved(20.0, False, NO_TARGET))
    assert on(alerts) == set()


def test_an_impossible_sample_is_raised_in_its_own_second() -> None:
    alerts = conditions()
    alerts.fold(settled(10), [3.4])
    (event,) = alerts.events
    assert (event.alert.code, event.t_s) == ("implausible", 4.0)
    assert on(alerts) == {"implausible"}
    calm = conditions()
    calm.fold(settled(10), [])
    assert calm.events == []


def test_a_current_that_stands_still_at_rest_is_not_stuck() -> None:
    # A charger or solar panel changes the voltage; the instruments' half ampere is constant.
    volts = np.linspace(50.0, 48.0, 240)
    for amps_a, expected in ((0.5, False), (20.0, True)):
        alerts = conditions()
        alerts.fold(settled(amps_a=amps_a, volts_v=volts, throttle_fraction=0.0))
        assert ("current_stuck" in on(alerts)) is expected


@pytest.mark.parametrize(
    ("temperatures", "t_s", "expected"),
    [
        ([75.0] * 10, 10.0, True),
        # It ends ten seconds after cooling by five degrees, not sooner.
        ([75.0] * 10 + [67.0] * 60, 70.0, True),
        ([75.0] * 10 + [64.0] * 9, 19.0, True),
        ([75.0] * 10 + [64.0] * 60, 70.0, False),
        ([69.0] * 60, 60.0, False),
    ],
)
def test_a_hot_drive_is_hot_until_it_is_five_degrees_cooler(temperatures, t_s, expected) -> None:
    alerts = conditions()
    alerts.fold(settled(len(temperatures), drive_degc=np.array(temperatures)))
    assert ("drive_hot" in on(alerts, t_s)) is expected


def sagging(volts_v: np.ndarray, power_w: np.ndarray) -> SettledSeconds:
    return settled(len(volts_v), volts_v=volts_v, amps_a=power_w / volts_v, power_w=power_w)


@pytest.mark.parametrize(
    ("volts_to", "exponent", "expected"),
    [
        # A drive at constant throttle is a resistive load: power goes with the voltage squared.
        (45.0, 2.0, False),
        (43.5, 2.0, False),
        # A reduction beyond that is due to heat.
        (49.0, 20.0, True),
        (45.0, 5.0, True),
    ],
)
def test_a_sagging_pack_is_not_taken_for_a_thermal_limit(volts_to, exponent, expected) -> None:
    volts = np.linspace(50.0, volts_to, 240)
    alerts = conditions()
    alerts.fold(sagging(volts, 1000.0 * (volts / 50.0) ** exponent))
    assert ("heat_limiting" in on(alerts)) is expected
    assert "drive_hot" not in on(alerts)


def test_a_rising_voltage_does_not_hide_a_limit() -> None:
    # The pack is warmed by the sun: falling power is still due to the drive.
    volts = np.linspace(48.0, 50.0, 240)
    alerts = conditions()
    alerts.fold(sagging(volts, np.linspace(1000.0, 720.0, 240)))
    assert "heat_limiting" in on(alerts)


@pytest.mark.parametrize(("volts_v", "expected"), [(43.0, True), (43.2, True), (43.4, False)])
def test_the_cut_off_warning_comes_before_the_cut_off(volts_v: float, expected: bool) -> None:
    # 42 V and 3 % of it are 43.26 V.
    alerts = conditions()
    alerts.fold(settled(30, volts_v=volts_v))
    assert ("near_cutoff" in on(alerts)) is expected


def news(t_s: float, **names: tuple[str, ...]) -> SourceDecision:
    every = dict.fromkeys(("brief", "joined", "silent", "out", "unplugged"), ())
    return SourceDecision(t_s, **(every | names))


@pytest.mark.parametrize(
    ("key", "code"),
    [
        ("silent", "source_silent"),
        ("out", "source_left_out"),
        ("brief", "source_brief"),
        ("joined", "source_joined"),
        ("unplugged", "source_unplugged"),
    ],
)
def test_a_source_is_named_and_another_raises_a_new_alert(key: str, code: str) -> None:
    alerts = conditions()
    for t_s, names in ((10.0, ("battery 1",)), (20.0, ("battery 1",)), (30.0, ("battery 2",))):
        alerts.observe(news(t_s, **{key: names}))
        (alert,) = now(alerts, t_s)
        assert (alert.code, alert.values["sources"]) == (code, names)
    assert [(event.alert.code, event.t_s) for event in alerts.events] == [
        (code, 10.0),
        (code, 30.0),
    ]
    alerts.observe(news(40.0))
    assert now(alerts, 40.0) == ()


def test_a_silent_source_hides_missing_power() -> None:
    alerts = conditions()
    alerts.fold(settled(60, power_w=np.where(np.arange(60) < 30, 500.0, np.nan)))
    assert on(alerts) == {"no_power_data"}
    alerts.observe(news(60.0, silent=("battery 0",)))
    assert on(alerts) == {"source_silent"}
