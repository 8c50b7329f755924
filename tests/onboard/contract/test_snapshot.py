"""The snapshot's keys and nulls: what viewers and other programs rely on."""

import csv
from pathlib import Path

import pytest

from onboard.contract.codec import as_line, from_line, plain
from onboard.profile import parse_profile
from onboard.ride.ride import Ride
from onboard.telemetry.link.link_scanner import LinkScanner
from tests.small_streams import Sender
from tests.wire import wire

PROFILE = parse_profile("[battery]\nchemistry = 'li-ion'\ncells = 14\nenergy_wh = 1000\n")

KEYS = {
    *("setup", "setups", "reserve_fraction", "curve", "steady", "runs", "coach", "newest_t_s"),
    *("schema", "kind", "seq", "t_s", "utc", "time_left_s", "power_w", "volts_v", "amps_a"),
    *("speed_mps", "course_deg", "heading_deg", "position_deg", "wh_per_km", "trip", "battery"),
    *("range_m", "best_speed_mps", "target", "home", "set_and_drift", "drive", "alerts", "link"),
}


def ride(seconds: int) -> Ride:
    sender, scanner, taken = Sender(), LinkScanner(), Ride(PROFILE)
    for n in range(seconds):
        frames = b"".join(sender.second(50 + n, 50, 8, 2))
        taken.take(scanner.push([(1_000_000 * n, frames)]))
    return taken


def nulls_without_reason(value, path="") -> list[str]:
    found = []
    if isinstance(value, dict):
        for key, part in value.items():
            if part is None and key not in value.get("why", {}) and key not in ("low", "high"):
                found.append(f"{path}.{key}")
            found += nulls_without_reason(part, f"{path}.{key}")
    return found


def test_a_snapshot_has_every_key_and_every_null_its_reason() -> None:
    for seconds in (0, 60):
        taken = ride(seconds).snapshot("test")
        snapshot = wire(taken)
        assert set(snapshot) - {"why"} == KEYS
        assert nulls_without_reason(snapshot) == []
        assert from_line(as_line(taken)) == taken


def test_figures_are_objects_and_positions_pairs() -> None:
    snapshot = wire(ride(60).snapshot("test", age_s=0.1, messages_per_s=7.0))
    assert snapshot["power_w"] == 400.0
    assert snapshot["position_deg"] == [45.0, -30.0]
    assert set(snapshot["wh_per_km"]["last_20_s"]) == {"value", "low", "high"}
    assert snapshot["link"]["system_id"] == 1
    assert snapshot["drive"] is None
    assert snapshot["why"]["drive"] == {"code": "no_drive"}


def test_sequence_numbers_rise() -> None:
    taken = ride(3)
    assert [taken.snapshot("test").seq for _ in range(3)] == [1, 2, 3]


def test_a_silent_link_leaves_no_present_figure() -> None:
    snapshot = wire(ride(60).snapshot("test", age_s=42.0))
    assert snapshot["power_w"] is None
    assert snapshot["why"]["power_w"]["age_s"] == pytest.approx(42.0, abs=1.0)
    assert snapshot["heading_deg"] is None
    assert snapshot["trip"]["energy_wh"]["value"] > 0


def test_non_finite_values_become_null() -> None:
    assert plain({"a": float("nan"), "b": [float("inf"), 1]}) == {
        "a": None,
        "b": [None, 1],
    }


def test_electrical_revolutions_become_the_motors_own() -> None:
    # MAVLink's ESC_TELEMETRY has electrical rpm: 8641 with 7 pole pairs is 1234.43.
    profile = parse_profile("[drive]\npole_pairs = 7\n")
    table = Path(__file__).parents[2] / "data" / "mavlink_test_vectors.csv"
    with table.open(newline="") as file:
        next(file)
        vectors = {row["message"]: row["frame_hex"] for row in csv.DictReader(file)}
    taken, sender = Ride(profile), Sender()
    stream = sender.heartbeat() + bytes.fromhex(vectors["ESC_TELEMETRY_1_TO_4"])
    taken.take(LinkScanner().push([(4, stream)]))
    taken.finish()
    drive = wire(taken.snapshot("test"))["drive"]
    assert round(drive["rpm"], 2) == 1234.43
    assert (drive["motor_amps_a"], drive["temperature_degc"]) == (15.23, 41.0)
