"""What is watched for: each thing that ends a ride raises its alert, by its code."""

from dataclasses import replace

import numpy as np
import pytest

from onboard.contract.alerts import Alert
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import unknown_figures
from onboard.efficiency.advice.conditions import Watches
from onboard.efficiency.battery.pack import Pack
from onboard.efficiency.sources.power_sources import SourceDecision
from onboard.efficiency.sources.settled_seconds import SettledSeconds
from onboard.profile import Drive, Profile, Sensors
from tests.onboard.efficiency.advice.test_standing_alerts import settled
from tests.onboard.efficiency.battery.made_packs import LI_ION, rest

HOT_DEGC = 70.0
NO_TARGET = Unknown(Reason.NOT_HEARD)


def watches() -> Watches:
    return Watches(Profile(drive=Drive(temperature_most_degc=HOT_DEGC)), cutoff_v=42.0)


def on(watching: Watches, t_s: float = 1e4) -> set[str]:
    return {alert.code for alert in now(watching, t_s)}


def now(watching: Watches, t_s: float) -> tuple[Alert, ...]:
    """What is on, where no figure is shown beside it."""
    return watching.alerts(unknown_figures(NO_TARGET, t_s, "plain"))


def pack(left_fraction: float) -> Pack:
    """A pack that counts a share of full, with a fifth of its energy kept."""
    return Pack(replace(LI_ION, start_fraction=left_fraction), Sensors())


@pytest.mark.parametrize(
    ("start_fraction", "said"),
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
def test_what_is_left_is_warned_of(start_fraction: float, said: set[str]) -> None:
    watching, some = watches(), pack(start_fraction)
    for t_s in (10.0, 20.0):
        watching.energy(t_s, some, 0.0)
    assert on(watching) == said
    levels = {alert.code: alert.level for alert in now(watching, 30.0)}
    assert levels == dict.fromkeys(said, "danger" if "reserve_reached" in said else "warning")


def test_the_reserve_is_reached_sooner_under_load() -> None:
    # At the cut-off under load nothing can be drawn, though a third of the charge is there.
    watching, weak = watches(), replace(LI_ION, resistance_ohm=0.5, start_fraction=0.35)
    some = Pack(weak, Sensors())
    watching.energy(10.0, some, 0.0)
    watching.energy(20.0, some, 0.0)
    assert on(watching) == set()
    watching.energy(30.0, some, 1500.0)
    watching.energy(40.0, some, 1500.0)
    assert on(watching) == {"reserve_reached"}


def test_it_is_told_how_far_off_an_alert_is() -> None:
    # 14 cells of 25 Ah: a tenth of full is about 132 Wh.
    some = pack(0.6)
    off_wh = watches().energy(10.0, some, 0.0)
    assert off_wh == pytest.approx(some.left_wh(0.0) - 0.1 * some.full.value)
    assert off_wh < some.left_wh(0.0) - 120.0


def test_a_voltage_that_contradicts_the_stated_charge_is_said() -> None:
    for start_fraction, said in ((1.0, True), (0.5, False)):
        watching, some = watches(), pack(start_fraction)
        some.fold(rest(LI_ION, 0.5, 30))
        watching.energy(30.0, some, 0.0)
        assert ("battery_contradicted" in on(watching)) is said


@pytest.mark.parametrize(
    ("apart_ah", "charge_ah", "said"),
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
def test_counters_that_disagree_either_way_are_said(apart_ah, charge_ah, said) -> None:
    watching = watches()
    watching.counters(10.0, apart_ah, charge_ah)
    assert ("counters_disagree" in on(watching)) is said


def test_turn_back_is_said_while_it_is_so() -> None:
    watching = watches()
    watching.advice(10.0, True, NO_TARGET)
    assert on(watching) == {"turn_back"}
    watching.advice(20.0, False, NO_TARGET)
    assert on(watching) == set()


def test_what_cannot_be_is_said_in_the_second_it_came() -> None:
    watching = watches()
    watching.implausible(settled(10), [3.4])
    (event,) = watching.events
    assert (event.alert.code, event.t_s) == ("implausible", 4.0)
    assert on(watching) == {"implausible"}
    calm = watches()
    calm.implausible(settled(10), [])
    assert calm.events == []


def test_a_current_that_stands_still_at_rest_is_not_stuck() -> None:
    # A charger or a cold sun pulls the voltage; half an ampere of instruments stays what it is.
    volts = np.linspace(50.0, 48.0, 240)
    for amps_a, said in ((0.5, False), (20.0, True)):
        watching = watches()
        watching.seconds(settled(amps_a=amps_a, volts_v=volts, throttle_fraction=0.0))
        assert ("current_stuck" in on(watching)) is said


@pytest.mark.parametrize(
    ("temperatures", "t_s", "said"),
    [
        ([75.0] * 10, 10.0, True),
        # Five degrees cooler it is over, after ten seconds; not sooner.
        ([75.0] * 10 + [67.0] * 60, 70.0, True),
        ([75.0] * 10 + [64.0] * 9, 19.0, True),
        ([75.0] * 10 + [64.0] * 60, 70.0, False),
        ([69.0] * 60, 60.0, False),
    ],
)
def test_a_hot_drive_is_hot_until_it_is_five_degrees_cooler(temperatures, t_s, said) -> None:
    watching = watches()
    watching.seconds(settled(len(temperatures), drive_degc=np.array(temperatures)))
    assert ("drive_hot" in on(watching, t_s)) is said


def sagging(volts_v: np.ndarray, power_w: np.ndarray) -> SettledSeconds:
    return settled(len(volts_v), volts_v=volts_v, amps_a=power_w / volts_v, power_w=power_w)


@pytest.mark.parametrize(
    ("volts_to", "exponent", "said"),
    [
        # A drive at a held throttle is a load of its own: its power goes with the voltage squared.
        (45.0, 2.0, False),
        (43.5, 2.0, False),
        # What it takes off beyond that is its heat's.
        (49.0, 20.0, True),
        (45.0, 5.0, True),
    ],
)
def test_a_sagging_pack_is_no_drive_that_limits_its_heat(volts_to, exponent, said) -> None:
    volts = np.linspace(50.0, volts_to, 240)
    watching = watches()
    watching.seconds(sagging(volts, 1000.0 * (volts / 50.0) ** exponent))
    assert ("heat_limiting" in on(watching)) is said
    assert "drive_hot" not in on(watching)


def test_a_voltage_that_rises_hides_no_limit() -> None:
    # The sun came out on the pack: power that falls is the drive's all the same.
    volts = np.linspace(48.0, 50.0, 240)
    watching = watches()
    watching.seconds(sagging(volts, np.linspace(1000.0, 720.0, 240)))
    assert "heat_limiting" in on(watching)


@pytest.mark.parametrize(("volts_v", "said"), [(43.0, True), (43.2, True), (43.4, False)])
def test_the_cut_off_is_warned_of_before_it_is_there(volts_v: float, said: bool) -> None:
    # 42 V and 3 % of it are 43.26 V.
    watching = watches()
    watching.seconds(settled(30, volts_v=volts_v))
    assert ("near_cutoff" in on(watching)) is said


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
def test_a_source_is_named_and_another_one_is_said_anew(key: str, code: str) -> None:
    watching = watches()
    for t_s, names in ((10.0, ("battery 1",)), (20.0, ("battery 1",)), (30.0, ("battery 2",))):
        watching.sources(news(t_s, **{key: names}))
        (alert,) = now(watching, t_s)
        assert (alert.code, alert.values["sources"]) == (code, names)
    assert [(event.alert.code, event.t_s) for event in watching.events] == [
        (code, 10.0),
        (code, 30.0),
    ]
    watching.sources(news(40.0))
    assert now(watching, 40.0) == ()


def test_who_is_silent_is_named_instead_of_saying_that_no_power_is_known() -> None:
    watching = watches()
    watching.seconds(settled(60, power_w=np.where(np.arange(60) < 30, 500.0, np.nan)))
    assert on(watching) == {"no_power_data"}
    watching.sources(news(60.0, silent=("battery 0",)))
    assert on(watching) == {"source_silent"}
