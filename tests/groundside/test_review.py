"""Review of the bundled logs against the simulator's truth, which stands beside them."""

import json
from pathlib import Path

import pytest

from groundside.review.summary import review
from onboard.contract.commands import Mark
from onboard.marks import MarkBook, Noted
from onboard.profile import Profile, load_profile
from tests.small_streams import GROUND_STATION, INVALID, Sender, records

LOGS = Path(__file__).parents[2] / "replay_logs"


def truth(name: str) -> dict:
    return json.loads((LOGS / f"{name}.truth.json").read_text())


@pytest.mark.parametrize("name", ["harbour_loop", "board_sprints"])
def test_bundled_rides_within_the_stated_tolerance(name: str) -> None:
    trip = review(LOGS / f"{name}.tlog", load_profile(LOGS / f"{name}.toml"))["trip"]
    true = truth(name)
    # Half a per cent of the energy that an ideal meter with the sensors' gain and offset shows,
    # one per cent of the true distance.
    assert trip["energy_wh"]["value"] == pytest.approx(true["reported_energy_wh"], rel=0.005)
    assert trip["distance_m"]["value"] == pytest.approx(true["under_way_distance_m"], rel=0.01)
    assert trip["elapsed_s"] == pytest.approx(true["duration_s"], abs=1.0)
    assert trip["bridged_energy_fraction"] == 0.0


def test_at_anchor_no_way_is_made_and_none_is_claimed() -> None:
    trip = review(LOGS / "at_anchor.tlog", Profile())["trip"]
    assert trip["distance_m"]["value"] < 15.0
    assert trip["wh_per_km"] is None
    assert trip["why"]["wh_per_km"] == "hardly moved yet"


def test_the_output_is_what_other_programs_rely_on() -> None:
    result = review(LOGS / "harbour_loop.tlog", load_profile(LOGS / "harbour_loop.toml"))
    assert json.loads(json.dumps(result, allow_nan=False)) == result
    assert result["schema"] == 1
    assert set(result["log"]) == {"format", "messages", "bad_bytes", "start_utc", "duration_s"}
    assert result["log"]["format"] == "telemetry"
    assert result["log"]["messages"] == truth("harbour_loop")["messages"]
    assert result["log"]["start_utc"].endswith("Z")
    assert set(result["trip"]) == {
        *("energy_wh", "charge_ah", "distance_m", "moving_s", "elapsed_s", "wh_per_km"),
        *("mean_power_w", "mean_speed_mps", "max_speed_mps"),
        *("bridged_energy_fraction", "bridged_distance_fraction"),
    }


def test_what_was_said_in_a_session_counts(tmp_path: Path) -> None:
    log = (LOGS / "harbour_loop.tlog").read_bytes()
    (tmp_path / "telemetry.tlog").write_bytes(log)
    profile = load_profile(LOGS / "harbour_loop.toml")
    before = review(tmp_path, profile)["battery"]["left_fraction"]["value"]
    end_us = int.from_bytes(log[:8], "big") + 800_000_000
    MarkBook(tmp_path).write(Noted(730.0, end_us, None, Mark(1, "charged_full")))
    for path in (tmp_path, tmp_path / "telemetry.tlog"):
        after = review(path, profile)["battery"]["left_fraction"]["value"]
        # A fifth of it is kept as reserve.
        assert before < 0.7
        assert after == pytest.approx(0.8, abs=0.02)


def test_damage_is_counted_and_costs_only_what_it_hit(tmp_path: Path) -> None:
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
    assert good["log"]["bad_bytes"] == 0
    assert bad["log"]["bad_bytes"] > 0
    for key in ("energy_wh", "distance_m", "wh_per_km"):
        assert bad["trip"][key]["value"] == pytest.approx(good["trip"][key]["value"], rel=2e-3)


def test_nobody_to_follow_is_said(tmp_path: Path) -> None:
    station = Sender(255, 190)
    frames = [station.heartbeat(GROUND_STATION, INVALID) for _ in range(5)]
    (tmp_path / "log").write_bytes(records(frames))
    result = review(tmp_path / "log", Profile())
    assert result["trip"]["energy_wh"] is None
    assert [event["code"] for event in result["events"]] == ["no_autopilot"]


def test_another_craft_in_the_log_is_said(tmp_path: Path) -> None:
    mine, other = Sender(1), Sender(7)
    frames = [frame for n in range(20) for frame in mine.second(n, 50, 8, 2)]
    frames.insert(9, other.heartbeat())
    (tmp_path / "log").write_bytes(records(frames))
    event, *others = review(tmp_path / "log", Profile())["events"]
    assert event["code"] == "other_craft"
    assert "system 7" in event["text"]
    assert [one["code"] for one in others] == ["clock_not_set"]


def test_a_file_that_was_taken_from_a_session_is_said(tmp_path: Path) -> None:
    frames = [frame for n in range(20) for frame in Sender().second(n, 50, 8, 2)]
    (tmp_path / "telemetry-2.tlog").write_bytes(records(frames))
    event, *others = review(tmp_path, Profile())["events"]
    assert event["code"] == "file_missing"
    assert "telemetry.tlog" in event["text"]
    # One that was given by itself is all that was asked for.
    assert review(tmp_path / "telemetry-2.tlog", Profile())["events"] == others


def test_an_instrument_that_is_silent_at_the_end_is_said(tmp_path: Path) -> None:
    sender = Sender()
    frames = [frame for n in range(100) for frame in sender.second(5 + n, 50, 8, 2)]
    frames += [sender.attitude(105 + n) for n in range(60)]
    (tmp_path / "log").write_bytes(records(frames))
    events = review(tmp_path / "log", Profile())["events"]
    alerts = ["no_power_data", "no_speed"]
    assert [event["code"] for event in events] == [
        *("clock_not_set", *alerts, "silent_at_end", "silent_at_end")
    ]
    assert "no power for 59 s" in events[3]["text"]
    assert "no speed for 59 s" in events[4]["text"]


def test_what_a_log_lacks_is_said_once(tmp_path: Path) -> None:
    sender, path = Sender(), tmp_path / "log"

    def lacking(*messages: bytes, start_us: int = 1_750_000_000_000_000) -> dict[str, str]:
        frames = [sender.heartbeat(), *messages] * 30
        path.write_bytes(records(frames, start_us))
        return {event["code"]: event["text"] for event in review(path, Profile())["events"]}

    power, speed = sender.sys_status(50, 8), sender.gps(2.0)
    assert set(lacking(power, speed)) == {"clock_not_set"}
    found = lacking(speed)
    assert found["no_power"].startswith("No battery power in this log (no power monitor heard yet)")
    found = lacking(power, sender.gps(0.0, fix=0))
    assert found["no_speed"].startswith("No speed in this log (no GPS fix)")
    assert lacking(power)["no_speed"].startswith("No speed in this log (no GPS heard yet)")
    assert lacking(power)["clock_not_set"].endswith("its date is that of the stamps.")
    assert lacking(power, start_us=4_000_000)["clock_not_set"].endswith("it has no date.")


def test_a_clock_set_back_in_the_middle_shortens_nothing(tmp_path: Path) -> None:
    sender = Sender()
    frames = [frame for n in range(200) for frame in sender.second(5 + n, 50, 8, 2)]
    (tmp_path / "steady").write_bytes(records(frames))
    half = len(frames) // 2
    early = records(frames[half:], start_us=1_700_000_000_000_000)
    (tmp_path / "set_back").write_bytes(records(frames[:half]) + early)
    steady = review(tmp_path / "steady", Profile())
    set_back = review(tmp_path / "set_back", Profile())
    assert set_back["trip"]["energy_wh"]["value"] == pytest.approx(
        steady["trip"]["energy_wh"]["value"], rel=1e-3
    )
    assert set_back["log"]["duration_s"] == pytest.approx(steady["log"]["duration_s"], abs=0.2)


def test_while_the_fix_is_lost_a_frozen_velocity_is_not_believed(tmp_path: Path) -> None:
    sender = Sender()
    frames = []
    for n in range(600):
        lost = 200 <= n < 300
        lat = 45 + 2.0 * n / 111_131.8  # due north at 2 m/s
        frames += [sender.heartbeat(), sender.attitude(5 + n), sender.sys_status(50, 8)]
        frames.append(sender.gps(0 if lost else 2.0, fix=1 if lost else 3, lat=lat))
        frames.append(sender.position(5 + n, 0.0 if lost else 2.0))
    (tmp_path / "log").write_bytes(records(frames))
    trip = review(tmp_path / "log", Profile())["trip"]
    assert trip["distance_m"]["value"] == pytest.approx(1198.0, rel=0.005)
    assert trip["bridged_distance_fraction"] == pytest.approx(101 / 599, rel=0.02)


def test_a_clock_never_set_gives_no_date(tmp_path: Path) -> None:
    sender = Sender()
    frames = [frame for n in range(20) for frame in sender.second(n, 50, 8, 2)]
    (tmp_path / "log").write_bytes(records(frames, start_us=7_000_000))
    assert review(tmp_path / "log", Profile())["log"]["start_utc"] is None


def test_a_battery_that_does_not_measure_is_said(tmp_path: Path) -> None:
    sender = Sender()
    frames = []
    for n in range(60):
        frames += [sender.heartbeat(), sender.attitude(5 + n), sender.gps(2.0)]
        frames += [sender.battery_status(50, 8), sender.battery_status(12, -0.01, pack=1)]
    (tmp_path / "log").write_bytes(records(frames))
    result = review(tmp_path / "log", Profile())
    texts = {event["code"]: event["text"] for event in result["events"]}
    assert texts["packs_unmeasured"].startswith("What is drawn from battery 1 is not measured")
    assert "packs_summed" not in texts
    assert result["trip"]["energy_wh"]["value"] == pytest.approx(400 * 59 / 3600, rel=0.02)


def test_a_log_that_is_mostly_unreadable_is_said(tmp_path: Path) -> None:
    sender, path = Sender(), tmp_path / "log"
    data = bytearray(records([frame for n in range(60) for frame in sender.second(n, 50, 8, 2)]))
    for at in range(20, len(data), 300):
        data[at] ^= 0x20
    path.write_bytes(data)
    texts = [event["text"] for event in review(path, Profile())["events"]]
    assert any(
        text.endswith("cannot be read: it is damaged. Only the rest is summed up.")
        for text in texts
    )
