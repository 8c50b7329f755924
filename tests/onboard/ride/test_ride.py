"""From bytes to snapshot: live, recorded and replayed give the same."""

import itertools
import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from onboard.profile import parse_profile
from onboard.ride.ride import Ride
from onboard.telemetry.link.link_scanner import LinkScanner
from onboard.telemetry.mavlink.log_scanner import LogScanner
from tests.small_streams import GROUND_STATION, INVALID, Sender
from tests.wire import wire

PROFILE = parse_profile("[battery]\nchemistry = 'li-ion'\ncells = 14\nenergy_wh = 1000\n")
START_US = 1_750_000_000_000_000


def frames() -> list[bytes]:
    """Return a minute and a half with another craft, a ground station, and a second pack."""
    mine, other, station = Sender(1), Sender(7, version_1=True), Sender(255, 190)
    sent = []
    for n in range(90):
        sent += mine.second(300 + n, 50 - 0.01 * n, 6 + n % 7, 1.8 + 0.1 * (n % 5))
        sent += [mine.battery_status(50.1, 3 + n % 7, 0), mine.battery_status(50.2, 4.0, 1)]
        if n % 3 == 0:
            sent += [other.heartbeat(), other.sys_status(11.0, 70.0)]
            sent.append(station.heartbeat(GROUND_STATION, INVALID))
    # End with a stamp: messages after it would be timed by receipt.
    return [*sent, mine.attitude(390.0)]


SENT = frames()
KEPT = [n for n in range(len(SENT)) if n % 53 and not 400 < n < 480]
FRAMES = [SENT[n] for n in KEPT]
STREAM = b"".join(FRAMES)


def snapshot(ride: Ride) -> dict:
    ride.finish()
    return json.loads(json.dumps(wire(ride.snapshot("test", age_s=0.0))))


def live(cuts: list[int], stamps_us: list[int]) -> tuple[dict, bytes]:
    ride, scanner, record = Ride(PROFILE), LinkScanner(), b""
    for number, (first, last) in enumerate(itertools.pairwise([0, *cuts, len(STREAM)])):
        found = scanner.push([(START_US + stamps_us[number], STREAM[first:last])])
        record += found.records()
        ride.take(found)
    return snapshot(ride), record


def saved(record: bytes, cuts: list[int]) -> dict:
    ride, scanner = Ride(PROFILE), LogScanner()
    for first, last in itertools.pairwise([0, *cuts, len(record)]):
        ride.take(scanner.push(record[first:last]))
    ride.take(scanner.push(b"", final=True))
    return snapshot(ride)


def check_same(one: Any, other: Any, path: str = "") -> None:
    """Check that two records are equal, numbers but for their last bits: order changes a sum's."""
    if isinstance(one, float):
        assert one == pytest.approx(other, rel=1e-12, abs=1e-12), path
    elif isinstance(one, dict):
        assert one.keys() == other.keys(), path
        for key, value in one.items():
            check_same(value, other[key], f"{path}.{key}")
    elif isinstance(one, list):
        assert len(one) == len(other), path
        for number, value in enumerate(one):
            check_same(value, other[number], f"{path}[{number}]")
    else:
        assert one == other, path


@settings(max_examples=40)
@given(st.data())
def test_the_record_gives_what_the_rider_saw(data) -> None:
    cuts = sorted(data.draw(st.lists(st.integers(0, len(STREAM)), max_size=60)))
    steps = data.draw(st.lists(st.integers(0, 400), min_size=len(cuts) + 1, max_size=len(cuts) + 1))
    stamps_us = [4000 * step for step in itertools.accumulate(steps)]
    seen, record = live(cuts, stamps_us)
    again = sorted(data.draw(st.lists(st.integers(0, len(record)), max_size=20)))
    check_same(saved(record, again), seen)
    assert seen["link"]["messages"] == len(FRAMES)


def test_the_pace_of_arrival_changes_no_figure() -> None:
    # In one burst, and spread over the time of sending: the boot clock gives the time.
    at_once, _ = live([], [0])
    ends = list(itertools.accumulate(map(len, FRAMES)))[:-1]
    in_time, _ = live(ends, [90_000_000 * n // len(SENT) & ~3 for n in KEPT])
    assert at_once["link"]["system_id"] == in_time["link"]["system_id"] == 1
    for key in ("energy_wh", "distance_m", "wh_per_km"):
        a, b = at_once["trip"][key]["value"], in_time["trip"][key]["value"]
        assert abs(a - b) < 1e-3 * b, key


def test_energy_is_counted_with_the_current_sensor_as_learned_from_the_next_trip_on() -> None:
    # A charger showed 3 % more than the sensor, twenty times better than the profile's 2 %.
    first = Ride(PROFILE)
    first.take(LogScanner().push(live([], [0])[1], final=True))
    before = json.loads(json.dumps(first.saved_state()))
    before["battery"]["gain_readings"] = [[0.03, 1e-3, 1e-9, 0.0, 0.0]]
    plain, corrected = Ride(PROFILE), Ride(PROFILE, saved=before)
    found = []
    for ride in (plain, corrected):
        ride.take(LogScanner().push(live([], [0])[1], final=True))
        found.append(snapshot(ride))
    one, other = (shot["trip"]["energy_wh"] for shot in found)
    assert other["value"] == pytest.approx(1.03 * one["value"], rel=2e-4)
    # The rest of the width is the voltage's and the gaps'.
    assert other["high"] - other["low"] < 0.6 * (one["high"] - one["low"])
    assert found[1]["battery"]["learned"]["charges"] == 1
    assert found[1]["battery"]["learned"]["current_scale"]["value"] == pytest.approx(1.03, abs=2e-4)
    # And once only: the next ride counts on with the same scale.
    after = json.loads(json.dumps(corrected.saved_state()))
    assert after["battery"]["gain_readings"] == []
    third = Ride(PROFILE, saved=after)
    third.take(LogScanner().push(live([], [0])[1], final=True))
    assert snapshot(third)["trip"]["energy_wh"]["value"] == pytest.approx(other["value"], rel=1e-9)


def test_a_new_profile_of_the_pack_keeps_the_charge_and_forgets_the_rest() -> None:
    first = Ride(PROFILE)
    first.take(LogScanner().push(live([], [0])[1], final=True))
    saved_first = json.loads(json.dumps(first.saved_state()))
    saved_first["battery"] |= {"capacity_error": -0.2, "gain_readings": [[0.03, 1e-3, 1e-9, 0, 0]]}
    other = parse_profile("[battery]\nchemistry = 'li-ion'\ncells = 14\nenergy_wh = 1100\n")
    ride = Ride(other, saved=saved_first)
    ride.take(LogScanner().push(live([], [0])[1], final=True))
    learned = snapshot(ride)["battery"]["learned"]
    fresh = Ride(other)
    fresh.take(LogScanner().push(live([], [0])[1], final=True))
    assert learned["current_scale"]["value"] == 1.0
    for end in ("low", "value", "high"):
        expected = snapshot(fresh)["battery"]["learned"]["capacity_ah"][end]
        assert learned["capacity_ah"][end] == pytest.approx(expected, rel=0.02)
    again = json.loads(json.dumps(ride.saved_state()))["battery"]
    assert again["fraction"] < saved_first["battery"]["fraction"] < 1.0
