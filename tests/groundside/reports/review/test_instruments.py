"""Instruments that cannot be right: a simulated ride with each fault, and healthy logs."""

import functools
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pymavlink.dialects.v20.all as dialect
import pytest

from groundside.reports.review.review_output import review_json
from groundside.reports.review.summary import review
from groundside.studies.review_result import Review
from groundside.words.log_remarks import event_text
from groundside.words.units import CHOICES
from onboard.contract.figure import Figure, Unknown
from onboard.contract.log_remarks import LogRemarkCode
from onboard.contract.reasons import Reason
from onboard.errors import LogError
from onboard.profile import Profile
from tests.craft.onboard_log import onboard_log_bytes
from tests.craft.recording import Recording, record, stream
from tests.craft.scenarios import SCENARIOS
from tests.craft.sensors import Readings, read
from tests.craft.telemetry_log import log_bytes
from tests.small_streams import Sender, records

LOGS = Path(__file__).parents[4] / "replay_logs"
NAMED = {
    LogRemarkCode.CURRENT_DEAD,
    LogRemarkCode.VOLTAGE_STUCK,
    LogRemarkCode.COURSE_MISSING,
    LogRemarkCode.COURSE_STUCK,
    LogRemarkCode.POSITION_ZERO,
}


@functools.cache
def ride() -> Recording:
    return record(SCENARIOS["harbour_loop"])


def reviewed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, **broken: Any) -> Review:
    """Review the ride with readings replaced by constants."""
    made = ride()

    def faulty(*given: Any) -> Readings:
        right = read(*given)
        return replace(
            right, **{key: np.full(len(right.volts_v), value) for key, value in broken.items()}
        )

    monkeypatch.setattr("tests.craft.recording.read", faulty)
    frames = stream(made.scenario, made.truth, made.seed)
    path = tmp_path / "ride.tlog"
    path.write_bytes(log_bytes(frames, made.scenario.start_unix_s))
    return review(path, Profile())


def with_course(monkeypatch: pytest.MonkeyPatch, course: int) -> None:
    """Let each GPS message state this course [1/100 deg]."""
    right = dialect.MAVLink_gps_raw_int_message

    class Wrong(right):
        def __init__(self, *values: Any, **more: Any) -> None:
            super().__init__(*values[:8], course, *values[9:], **more)

    monkeypatch.setattr(dialect, "MAVLink_gps_raw_int_message", Wrong)


def named(result: Review) -> dict[object, str]:
    return {
        event.what.code: event_text(event.what, CHOICES["km/h"])
        for event in result.events
        if event.what.code in NAMED
    }


@pytest.mark.slow
def test_a_current_that_never_leaves_zero(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    result = reviewed(tmp_path, monkeypatch, amps_a=0.0, used_ah=0.0, used_wh=0.0)
    assert set(named(result)) == {LogRemarkCode.CURRENT_DEAD}
    # Unknown, not 0.00.
    why = Unknown(Reason.CURRENT_DEAD)
    trip = result.trip
    for figure in (trip.energy_wh, trip.wh_per_km, trip.mean_power_w, trip.charge_ah):
        assert figure == why
    assert result.curve == result.range_m == result.time_left_s == why
    assert result.bands == ()
    assert isinstance(trip.distance_m, Figure)
    stated = review_json(result)
    assert stated["trip"]["energy_wh"] is None
    assert "0.00 A" in stated["events"][0]["text"]


@pytest.mark.slow
def test_a_voltage_that_never_moves(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    result = reviewed(tmp_path, monkeypatch, volts_v=48.0)
    assert set(named(result)) == {LogRemarkCode.VOLTAGE_STUCK}
    assert "stays at 48.0 V all along" in named(result)[LogRemarkCode.VOLTAGE_STUCK]


@pytest.mark.slow
def test_a_position_of_zero(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    result = reviewed(tmp_path, monkeypatch, latitude_deg=0.0, longitude_deg=0.0)
    assert set(named(result)) == {LogRemarkCode.POSITION_ZERO}


@pytest.mark.slow
def test_a_course_that_never_changes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with_course(monkeypatch, 4500)
    result = reviewed(tmp_path, monkeypatch)
    assert set(named(result)) == {LogRemarkCode.COURSE_STUCK}
    assert "course of 45.0 deg all along" in named(result)[LogRemarkCode.COURSE_STUCK]


def test_speed_without_course(tmp_path: Path) -> None:
    sender, frames = Sender(), []
    for n in range(1, 120):
        fix = dialect.MAVLink_gps_raw_int_message(
            0, 3, 450000000, -300000000 + 300 * n, 0, 90, 90, 240, 65535, 12
        )
        frames += [sender.heartbeat(), sender.attitude(n), sender.sys_status(50, 8 + n % 3)]
        frames += [sender.pack(fix)]
    path = tmp_path / "ride"
    path.write_bytes(records(frames, step_us=250_000))
    assert set(named(review(path, Profile()))) == {LogRemarkCode.COURSE_MISSING}


def test_a_clock_never_set(tmp_path: Path) -> None:
    # The stamps, and the time that the autopilot states, count from its boot.
    sender, frames = Sender(), []
    for n in range(1, 60):
        frames += [*sender.second(n, 50, 8, 2), sender.time_of_day(float(n), n)]
    path = tmp_path / "ride"
    path.write_bytes(records(frames, start_us=4_000_000))
    result = review(path, Profile())
    assert result.log.start_utc == Unknown(Reason.NO_DATE)
    assert LogRemarkCode.CLOCK_NOT_SET in [event.what.code for event in result.events]


@pytest.mark.slow
@pytest.mark.parametrize("name", ["harbour_loop", "at_anchor", "board_sprints"])
def test_healthy_logs_have_none_of_them(tmp_path: Path, name: str) -> None:
    assert named(review(LOGS / f"{name}.tlog", Profile())) == {}
    path = tmp_path / "ride.bin"
    path.write_bytes(onboard_log_bytes(record(SCENARIOS[name])))
    assert named(review(path, Profile())) == {}


def test_a_log_with_neither_power_nor_speed_is_one_line(tmp_path: Path) -> None:
    sender = Sender()
    parameters = [
        sender.pack(dialect.MAVLink_param_value_message(b"BATT_MONITOR", 4.0, 9, 400, n))
        for n in range(400)
    ]
    frames = [frame for n in range(400) for frame in (sender.heartbeat(), parameters[n])]
    path = tmp_path / "parameters.tlog"
    path.write_bytes(records(frames))
    with pytest.raises(LogError) as refused:
        review(path, Profile())
    line = str(refused.value)
    assert line.startswith(f"{path}: a telemetry log without power or speed: no SYS_STATUS, ")
    assert "GPS_RAW_INT" in line
    assert line.endswith("in 800 frames")


def test_nothing_says_yet_of_a_saved_log(tmp_path: Path) -> None:
    sender = Sender()
    path = tmp_path / "ride"
    frames = [one for n in range(1, 90) for one in (sender.heartbeat(), sender.sys_status(50, 8))]
    path.write_bytes(records(frames))
    result = review(path, Profile())
    assert result.trip.distance_m == Unknown(Reason.NO_GPS_IN_LOG)
    stated = review_json(result)
    assert "heard yet" not in str(stated)
    assert any("(no GPS in this log)" in event["text"] for event in stated["events"])
