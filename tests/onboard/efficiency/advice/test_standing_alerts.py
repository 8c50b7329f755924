"""Alerts come and go without flicker; each cause raises its alert, and its twin does not."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from onboard.contract.alerts import AlertCode
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import DriveState, unknown_figures
from onboard.efficiency.advice.conditions import AlertConditions
from onboard.efficiency.advice.observations import CountersObserved
from onboard.efficiency.advice.standing_alerts import Watch
from onboard.profile import Drive, Profile
from tests.onboard.efficiency.advice.made_seconds import settled


def fold(holds, cuts=()) -> tuple[list[float], float | None]:
    watch = Watch(AlertCode.IMPLAUSIBLE, on_after_s=3.0, off_after_s=2.0)
    holds = np.asarray(holds, bool)
    t_s = np.arange(1.0, len(holds) + 1)
    events = []
    for a, b in zip([0, *cuts], [*cuts, len(holds)], strict=True):
        events += watch.fold(t_s[a:b], holds[a:b], lambda n: {})
    return [event.t_s for event in events], watch.on_since_s


def test_an_alert_comes_and_goes_with_a_delay() -> None:
    assert fold([0, 1, 1, 1, 1]) == ([4.0], 1.0)
    assert fold([0, 1, 1, 0, 1, 1, 0]) == ([], None)
    assert fold([1, 1, 1, 0, 1, 0, 1]) == ([3.0], 0.0)
    assert fold([1, 1, 1, 0, 0, 1, 1, 1]) == ([3.0, 8.0], 5.0)


@given(st.lists(st.booleans(), max_size=40), st.lists(st.integers(0, 40), max_size=5))
def test_alerts_do_not_depend_on_the_cut(holds, cuts) -> None:
    assert fold(holds, sorted(min(cut, len(holds)) for cut in cuts)) == fold(holds)


def codes(**columns) -> set[str]:
    alerts = AlertConditions(Profile(drive=Drive(temperature_most_degc=70.0)), cutoff_v=42.0)
    alerts.fold(settled(**columns))
    return {event.alert.code for event in alerts.events}


late = np.arange(240) > 120
falling = 20.0 - np.arange(240) / 30.0


def test_a_plain_ride_raises_no_alert() -> None:
    assert codes() == set()


@pytest.mark.parametrize(
    ("code", "columns", "twin"),
    [
        ("no_power_data", {"power_w": np.where(late, np.nan, 500.0)}, {"power_w": np.nan}),
        ("no_speed", {"east_mps": np.where(late, np.nan, 2.0)}, {"east_mps": np.nan}),
        ("current_dead", {"amps_a": 0.01}, {"amps_a": 0.01, "distance_m": 0.1}),
        ("current_dead", {"amps_a": 0.01}, {"amps_a": 0.01, "throttle_fraction": 0.0}),
        (
            "current_stuck",
            {"amps_a": 50.0, "volts_v": np.linspace(50, 46, 240)},
            {"amps_a": 50.0, "volts_v": 50.0},
        ),
        ("near_cutoff", {"volts_v": np.where(late, 42.5, 48)}, {"volts_v": np.where(late, 44, 48)}),
        ("drive_hot", {"drive_degc": np.where(late, 75, 60)}, {"drive_degc": 69.0}),
        (
            "heat_limiting",
            {"amps_a": falling},
            {"amps_a": falling, "throttle_fraction": np.linspace(0.6, 0.3, 240)},
        ),
    ],
)
def test_each_cause_raises_its_alert_and_its_twin_does_not(code, columns, twin) -> None:
    assert code in codes(**columns)
    assert code not in codes(**twin)


def test_a_hot_drive_stays_hot_until_it_has_cooled_down() -> None:
    alerts = AlertConditions(Profile(drive=Drive(temperature_most_degc=70.0)), cutoff_v=None)
    swings = 70.0 + 3.0 * np.sin(np.arange(240) / 8.0)
    alerts.fold(settled(drive_degc=swings))
    assert [event.alert.code for event in alerts.events] == ["drive_hot"]
    # The event keeps the onset's value; the alert has the present one.
    assert alerts.events[0].alert.values["temperature_degc"] > 70.0
    nothing = unknown_figures(Unknown(Reason.NOT_HEARD), 240.0, "plain")
    warm = DriveState(rpm=900.0, motor_amps_a=9.0, temperature_degc=68.0)
    (alert,) = alerts.alerts(replace(nothing, drive=warm))
    assert (alert.level, alert.values) == ("danger", {"temperature_degc": 68.0})
    # For a drive that is no longer received, no value is shown as if it were current.
    (alert,) = alerts.alerts(nothing)
    assert alert.values == {"temperature_degc": None}


def test_a_standing_alert_has_the_values_last_tested_and_its_event_those_of_the_onset() -> None:
    alerts = AlertConditions(Profile(), cutoff_v=None)
    for t_s, apart_ah in ((10.0, 5.0), (20.0, 5.0), (30.0, 8.0)):
        alerts.observe(CountersObserved(t_s, apart_ah, 20.0))
    (alert,) = alerts.alerts(unknown_figures(Unknown(Reason.NOT_HEARD), 30.0, "plain"))
    assert (alert.code, alert.values) == ("counters_disagree", {"off_fraction": 0.4})
    assert [event.alert.values for event in alerts.events] == [{"off_fraction": 0.25}]
