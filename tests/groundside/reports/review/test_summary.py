"""Reviews of the bundled logs, against the simulator's truth beside them."""

import json
import pickle
from pathlib import Path

import pytest

from groundside.reports.review.review_output import review_json
from groundside.reports.review.summary import review
from groundside.studies.review_result import Review
from groundside.words.log_remarks import log_remark_text
from groundside.words.units import CHOICES
from onboard.contract.alerts import AlertCode
from onboard.contract.battery import BatteryState
from onboard.contract.commands import Mark
from onboard.contract.figure import Estimate, Figure, Unknown
from onboard.contract.log_remarks import LogRemark, LogRemarkCode
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import Curve
from onboard.profile import Profile, load_profile
from onboard.record.marks import MarkBook, TimedCommand
from onboard.restarts.refold import CARRIED_NAME, carried_text
from onboard.ride.ride import Ride
from onboard.telemetry.logs.telemetry_log import read_log
from tests.small_streams import GROUND_STATION, INVALID, Sender, records

LOGS = Path(__file__).parents[4] / "replay_logs"


def truth(name: str) -> dict:
    return json.loads((LOGS / f"{name}.truth.json").read_text())


def value(figure: Estimate) -> float:
    assert isinstance(figure, Figure)
    return figure.value


def events_of(result: Review) -> list[object]:
    """Return the alerts and remarks of a review, in order."""
    return [event.what.code for event in result.events]


def remarks(result: Review) -> dict[LogRemarkCode, LogRemark]:
    return {one.what.code: one.what for one in result.events if isinstance(one.what, LogRemark)}


@pytest.mark.parametrize("name", ["harbour_loop", "board_sprints"])
def test_bundled_rides_within_the_stated_tolerance(name: str) -> None:
    trip = review(LOGS / f"{name}.tlog", load_profile(LOGS / f"{name}.toml")).trip
    true = truth(name)
    # Within 0.5 % of the energy of an ideal meter with the sensors' gain and offset, and 1 % of
    # the true distance.
    assert value(trip.energy_wh) == pytest.approx(true["reported_energy_wh"], rel=0.005)
    assert value(trip.distance_m) == pytest.approx(true["under_way_distance_m"], rel=0.01)
    assert trip.elapsed_s == pytest.approx(true["duration_s"], abs=1.0)
    assert trip.bridged_energy_fraction == 0.0


def test_at_anchor_no_distance_is_counted() -> None:
    trip = review(LOGS / "at_anchor.tlog", Profile()).trip
    assert value(trip.distance_m) < 15.0
    assert trip.wh_per_km == Unknown(Reason.HARDLY_MOVED)


def test_the_keys_that_other_programs_rely_on() -> None:
    made = review(LOGS / "harbour_loop.tlog", load_profile(LOGS / "harbour_loop.toml"))
    result = review_json(made)
    assert json.loads(json.dumps(result, allow_nan=False)) == result
    assert result["schema"] == 2
    assert list(result) == [
        *("schema", "log", "trip", "bands", "curve", "set_and_drift", "battery", "range_m"),
        *("time_left_s", "events", "why"),
    ]
    assert set(result["log"]) == {"format", "messages", "bad_bytes", "start_utc", "duration_s"}
    assert result["log"]["format"] == "telemetry"
    assert result["log"]["messages"] == truth("harbour_loop")["messages"]
    assert result["log"]["start_utc"].endswith("Z")
    assert set(result["trip"]) == {
        *("energy_wh", "charge_ah", "distance_m", "moving_s", "elapsed_s", "wh_per_km"),
        *("mean_power_w", "mean_speed_mps", "max_speed_mps"),
        *("bridged_energy_fraction", "bridged_distance_fraction"),
    }
    assert set(result["bands"][0]) - {"why"} == {
        *("speed_low_mps", "speed_high_mps", "seconds", "energy_wh", "distance_m", "wh_per_km"),
    }
    assert result["range_m"] == {
        key: getattr(made.range_m, key) for key in ("value", "low", "high")
    }
    assert set(result["battery"]) == {
        *("left_wh", "left_fraction", "charge_fraction"),
        *("resistance_ohm", "learned"),
    }
    learned = result["battery"]["learned"]
    assert set(learned) == {"capacity_ah", "rests", "current_scale", "charges"}
    assert (learned["rests"], learned["charges"]) == (1, 0)
    assert set(result["curve"]) == {"speed_mps", "power_w", "low_w", "high_w", "speed_kind"}
    assert result["set_and_drift"] is None
    assert result["why"] == {"set_and_drift": {"code": "needs_other_courses"}}


def test_a_session_s_marks_are_applied(tmp_path: Path) -> None:
    log = (LOGS / "harbour_loop.tlog").read_bytes()
    (tmp_path / "telemetry.tlog").write_bytes(log)
    profile = load_profile(LOGS / "harbour_loop.toml")

    def left(path: Path) -> float:
        battery = review(path, profile).battery
        assert not isinstance(battery, Unknown)
        return value(battery.left_fraction)

    before = left(tmp_path)
    end_us = int.from_bytes(log[:8], "big") + 800_000_000
    MarkBook(tmp_path).write(TimedCommand(730.0, end_us, None, Mark(1, "charged_full")))
    for path in (tmp_path, tmp_path / "telemetry.tlog"):
        after = left(path)
        # A fifth of it is the reserve.
        assert before < 0.7
        assert after == pytest.approx(0.8, abs=0.02)


def test_a_session_begins_with_the_battery_as_its_trip_did(tmp_path: Path) -> None:
    (tmp_path / "telemetry.tlog").write_bytes((LOGS / "harbour_loop.tlog").read_bytes())
    profile = load_profile(LOGS / "harbour_loop.toml")
    alone = review(tmp_path, profile)
    earlier = Ride(profile)
    earlier.take(next(part for part in read_log(LOGS / "harbour_loop.tlog", 1 << 24) if len(part)))
    saved = json.loads(json.dumps(earlier.saved_state()))
    saved["battery"] |= {"fraction": 0.6, "gain_readings": [[0.03, 1e-3, 1e-9, 0.0, 0.0]]}
    (tmp_path / CARRIED_NAME).write_text(carried_text(saved))
    found = review(tmp_path, profile)
    usual_wh = value(alone.trip.energy_wh)
    assert value(found.trip.energy_wh) == pytest.approx(1.03 * usual_wh, rel=1e-3)
    assert isinstance(found.battery, BatteryState)
    assert isinstance(alone.battery, BatteryState)
    assert found.battery.learned.rests == alone.battery.learned.rests + 1
    # The curve is that of this log alone.
    assert isinstance(found.curve, Curve) and isinstance(alone.curve, Curve)
    assert found.curve.speed_mps == pytest.approx(alone.curve.speed_mps)
    # One of another version is left out.
    (tmp_path / CARRIED_NAME).write_text(carried_text({**saved, "battery": "full"}))
    assert review(tmp_path, profile).battery == alone.battery


def test_damage_is_counted_and_local(tmp_path: Path) -> None:
    sender = Sender()
    frames = [frame for n in range(600) for frame in sender.second(5 + n, 50, 8, 2)]
    clean = records(frames)
    (tmp_path / "clean").write_bytes(clean)
    dirty = bytearray(clean)
    for at in range(1000, len(dirty), 4000):
        dirty[at] ^= 0x10
    (tmp_path / "dirty").write_bytes(bytes(dirty[: len(dirty) - 11]))
    good = review(tmp_path / "clean", Profile())
    bad = review(tmp_path / "dirty", Profile())
    assert good.log.bad_bytes == 0
    assert bad.log.bad_bytes > 0
    for of in (
        lambda trip: trip.energy_wh,
        lambda trip: trip.distance_m,
        lambda trip: trip.wh_per_km,
    ):
        assert value(of(bad.trip)) == pytest.approx(value(of(good.trip)), rel=2e-3)


def test_a_log_without_an_autopilot_is_remarked(tmp_path: Path) -> None:
    station = Sender(255, 190)
    frames = [station.heartbeat(GROUND_STATION, INVALID) for _ in range(5)]
    (tmp_path / "log").write_bytes(records(frames))
    result = review(tmp_path / "log", Profile())
    assert result.trip.energy_wh == Unknown(Reason.NO_POWER_MONITOR_IN_LOG)
    assert events_of(result) == [LogRemarkCode.NO_AUTOPILOT]


def test_another_craft_in_the_log_is_remarked(tmp_path: Path) -> None:
    mine, other = Sender(1), Sender(7)
    frames = [frame for n in range(20) for frame in mine.second(n, 50, 8, 2)]
    frames.insert(9, other.heartbeat())
    (tmp_path / "log").write_bytes(records(frames))
    result = review(tmp_path / "log", Profile())
    assert [event.what for event in result.events] == [
        LogRemark(LogRemarkCode.OTHER_CRAFT, other_systems=(7,), system=1),
        LogRemark(LogRemarkCode.CLOCK_NOT_SET, dated_by="stamps"),
    ]
    assert review_json(result)["events"][0] == {
        "t_s": 0.0,
        "code": "other_craft",
        "other_systems": [7],
        "system": 1,
        "text": "Another craft is in this log (system 7); system 1 is followed.",
    }


def test_a_missing_file_of_a_session_is_remarked(tmp_path: Path) -> None:
    frames = [frame for n in range(20) for frame in Sender().second(n, 50, 8, 2)]
    (tmp_path / "telemetry-2.tlog").write_bytes(records(frames))
    event, *others = review(tmp_path, Profile()).events
    assert event.what == LogRemark(LogRemarkCode.FILE_MISSING, files=("telemetry.tlog",))
    # A single file given by name is complete.
    assert list(review(tmp_path / "telemetry-2.tlog", Profile()).events) == others


def test_an_instrument_silent_at_the_end_is_remarked(tmp_path: Path) -> None:
    sender = Sender()
    frames = [frame for n in range(100) for frame in sender.second(5 + n, 50, 8, 2)]
    frames += [sender.attitude(105 + n) for n in range(60)]
    (tmp_path / "log").write_bytes(records(frames))
    result = review(tmp_path / "log", Profile())
    assert events_of(result) == [
        LogRemarkCode.CLOCK_NOT_SET,
        *(AlertCode.NO_POWER_DATA, AlertCode.NO_SPEED),
        *(LogRemarkCode.SILENT_AT_END, LogRemarkCode.SILENT_AT_END),
    ]
    for event, code in zip(
        result.events[3:], (Reason.POWER_QUIET, Reason.SPEED_QUIET), strict=True
    ):
        assert isinstance(event.what, LogRemark)
        assert event.what.reason is not None
        assert event.what.reason.code is code
        assert event.what.reason.values["age_s"] == pytest.approx(59.2, abs=0.3)
        assert event.t_s == pytest.approx(159.1)
    # In JSON the reason has its values, and the sentence states them.
    last = review_json(result)["events"][-1]
    assert last["reason"]["code"] == "speed_quiet"
    assert last["reason"]["age_s"] == pytest.approx(59.2, abs=0.3)
    assert "no speed for 59 s" in last["text"]


def test_missing_instruments_are_remarked_once(tmp_path: Path) -> None:
    sender, path = Sender(), tmp_path / "log"

    def lacking(
        *messages: bytes, start_us: int = 1_750_000_000_000_000
    ) -> dict[LogRemarkCode, LogRemark]:
        frames = [sender.heartbeat(), *messages] * 30
        path.write_bytes(records(frames, start_us))
        return remarks(review(path, Profile()))

    power, speed = sender.sys_status(50, 8), sender.gps(2.0)
    assert set(lacking(power, speed)) == {LogRemarkCode.CLOCK_NOT_SET}
    no_power, no_speed = LogRemarkCode.NO_POWER, LogRemarkCode.NO_SPEED
    found = lacking(speed)
    assert found[no_power].reason == Unknown(Reason.NO_POWER_MONITOR_IN_LOG)
    assert no_speed not in found
    assert lacking(power, sender.gps(0.0, fix=0))[no_speed].reason == Unknown(Reason.NO_FIX)
    found = lacking(power)
    assert found[no_speed].reason == Unknown(Reason.NO_GPS_IN_LOG)
    assert no_power not in found
    assert found[LogRemarkCode.CLOCK_NOT_SET].values == {"dated_by": "stamps"}
    found = lacking(power, start_us=4_000_000)
    assert found[LogRemarkCode.CLOCK_NOT_SET].values == {"dated_by": "nothing"}


def test_remarks_are_in_the_reader_s_units() -> None:
    no_fix = LogRemark(LogRemarkCode.NO_SPEED, reason=Unknown(Reason.NO_FIX))
    assert log_remark_text(no_fix, CHOICES["km/h"]) == (
        "No speed in this log (no GPS fix): no distance, no Wh/km, no range."
    )
    assert log_remark_text(no_fix, CHOICES["kn"]) == (
        "No speed in this log (no GPS fix): no distance, no Wh/NM, no range."
    )
    for dated_by, ends in (("stamps", "taken from the stamps."), ("nothing", "it has no date.")):
        undated = LogRemark(LogRemarkCode.CLOCK_NOT_SET, dated_by=dated_by)
        assert log_remark_text(undated, CHOICES["kn"]).endswith(ends)
    assert log_remark_text(
        LogRemark(LogRemarkCode.PACKS_SUMMED, packs=(0, 2)), CHOICES["km/h"]
    ).endswith("measure current: 0, 2.")


def test_remarks_with_different_reasons_differ() -> None:
    with pytest.raises(TypeError):
        LogRemark(LogRemarkCode.NO_SPEED)
    quiet = [
        LogRemark(
            LogRemarkCode.SILENT_AT_END, reason=Unknown(Reason.SPEED_QUIET, source="", age_s=age_s)
        )
        for age_s in (5.0, 5.0, 9.0)
    ]
    assert quiet[0] == quiet[1]
    assert hash(quiet[0]) == hash(quiet[1])
    assert quiet[0] != quiet[2]
    # As passed from one process to another.
    again = pickle.loads(pickle.dumps(quiet[0]))
    assert (again, again.reason) == (quiet[0], quiet[0].reason)


def test_a_clock_set_back_in_the_middle_shortens_nothing(tmp_path: Path) -> None:
    sender = Sender()
    frames = [frame for n in range(200) for frame in sender.second(5 + n, 50, 8, 2)]
    (tmp_path / "steady").write_bytes(records(frames))
    half = len(frames) // 2
    early = records(frames[half:], start_us=1_700_000_000_000_000)
    (tmp_path / "set_back").write_bytes(records(frames[:half]) + early)
    steady = review(tmp_path / "steady", Profile())
    set_back = review(tmp_path / "set_back", Profile())
    assert value(set_back.trip.energy_wh) == pytest.approx(value(steady.trip.energy_wh), rel=1e-3)
    assert set_back.log.duration_s == pytest.approx(steady.log.duration_s, abs=0.2)


def test_a_frozen_velocity_without_a_fix_is_not_counted(tmp_path: Path) -> None:
    sender = Sender()
    frames = []
    for n in range(600):
        lost = 200 <= n < 300
        lat = 45 + 2.0 * n / 111_131.8  # due north at 2 m/s
        frames += [sender.heartbeat(), sender.attitude(5 + n), sender.sys_status(50, 8)]
        frames.append(sender.gps(0 if lost else 2.0, fix=1 if lost else 3, lat=lat))
        frames.append(sender.position(5 + n, 0.0 if lost else 2.0))
    (tmp_path / "log").write_bytes(records(frames))
    trip = review(tmp_path / "log", Profile()).trip
    assert value(trip.distance_m) == pytest.approx(1198.0, rel=0.005)
    assert trip.bridged_distance_fraction == pytest.approx(101 / 599, rel=0.02)


def test_a_clock_never_set_gives_no_date(tmp_path: Path) -> None:
    sender = Sender()
    frames = [frame for n in range(20) for frame in sender.second(n, 50, 8, 2)]
    (tmp_path / "log").write_bytes(records(frames, start_us=7_000_000))
    result = review(tmp_path / "log", Profile())
    assert result.log.start_utc == Unknown(Reason.NO_DATE)
    assert review_json(result)["log"]["start_utc"] is None
    assert review_json(result)["log"]["why"] == {"start_utc": {"code": "no_date"}}


def test_an_unmeasured_battery_is_reported(tmp_path: Path) -> None:
    sender = Sender()
    frames = []
    for n in range(60):
        frames += [sender.heartbeat(), sender.attitude(5 + n), sender.gps(2.0)]
        frames += [sender.battery_status(50, 8), sender.battery_status(12, -0.01, pack=1)]
    (tmp_path / "log").write_bytes(records(frames))
    result = review(tmp_path / "log", Profile())
    found = remarks(result)
    assert found[LogRemarkCode.PACKS_UNMEASURED].values == {"packs": (1,)}
    assert LogRemarkCode.PACKS_SUMMED not in found
    assert value(result.trip.energy_wh) == pytest.approx(400 * 59 / 3600, rel=0.02)


def test_a_mostly_unreadable_log_is_remarked(tmp_path: Path) -> None:
    sender, path = Sender(), tmp_path / "log"
    data = bytearray(records([frame for n in range(60) for frame in sender.second(n, 50, 8, 2)]))
    for at in range(20, len(data), 300):
        data[at] ^= 0x20
    path.write_bytes(data)
    result = review(path, Profile())
    share = result.log.bad_bytes / len(data)
    assert remarks(result)[LogRemarkCode.DAMAGED].values == {"bad_fraction": share}
    assert 0.05 < share < 0.3
