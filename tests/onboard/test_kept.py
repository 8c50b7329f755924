"""What outlasts a run of the daemon: written whole or not at all, carried on in the same trip."""

import json

import numpy as np
import pytest

from onboard.kept import FILE_NAME, Clocks, drawn_meanwhile_ah, load, same_trip, save
from onboard.profile import Battery, Profile, Sensors
from onboard.ride import Ride
from onboard.telemetry.frames import Frames
from onboard.telemetry.scanner import LogScanner
from tests.small_streams import Sender, records

BEFORE = {"clocks": {"boot_s": 600.0, "utc_s": 1.75e9, "counter_ah": 2.0}}
NAN = float("nan")


def test_what_is_saved_is_read_back(tmp_path) -> None:
    save(tmp_path, {"battery": None, "curves": {}})
    assert load(tmp_path) == {"schema": 1, "battery": None, "curves": {}}
    assert [path.name for path in tmp_path.iterdir()] == [FILE_NAME]


@pytest.mark.parametrize(
    "text", ["", "{", "[" * 9999, '{"schema": 1' + "0" * 400 + "}", '{"schema": 2}']
)
def test_what_cannot_be_used_is_passed_over(tmp_path, text: str) -> None:
    assert load(tmp_path) is None
    (tmp_path / FILE_NAME).write_text(text)
    assert load(tmp_path) is None


def test_a_failed_save_leaves_the_old_one(tmp_path) -> None:
    save(tmp_path, {"curves": {}})
    with pytest.raises(ValueError, match="JSON"):
        save(tmp_path, {"curves": NAN})
    assert load(tmp_path) == {"schema": 1, "curves": {}}


@pytest.mark.parametrize(
    ("now", "same"),
    [
        (Clocks(700.0, 1.75e9 + 100.0, 2.3), True),
        (Clocks(700.0, NAN, 2.3), True),
        (Clocks(30.0, 1.75e9 + 100.0, 0.0), False),
        (Clocks(30.0, NAN, 0.0), False),
        (Clocks(700.0, 1.75e9 + 86_400.0, 0.4), False),
        (Clocks(600.0 + 4 * 3600, NAN, 0.4), False),
        (Clocks(NAN, NAN, NAN), False),
    ],
)
def test_it_is_the_same_trip_while_the_autopilot_keeps_running(now: Clocks, same: bool) -> None:
    assert same_trip(BEFORE, now) is same


def test_the_counter_tells_what_was_drawn_meanwhile() -> None:
    assert drawn_meanwhile_ah(BEFORE, Clocks(700.0, NAN, 2.3)) == pytest.approx(0.3)
    assert drawn_meanwhile_ah(BEFORE, Clocks(700.0, NAN, NAN)) is None
    assert drawn_meanwhile_ah(BEFORE, Clocks(700.0, NAN, 1.0)) is None


def stream(seconds: int, amps: float = 20.0) -> Frames:
    """A steady ride whose autopilot counts charge, as frames."""
    sender = Sender()
    frames: list[bytes] = []
    for second in range(seconds):
        drawn_mah = amps * second / 3.6
        frames += [
            *sender.second(100.0 + second, 54.0, amps, 2.0),
            sender.battery_status(54.0, amps, drawn_mah=drawn_mah),
        ]
    scanner = LogScanner()
    return scanner.push(records(frames, step_us=125_000) + bytes(32))


def test_a_new_daemon_carries_the_battery_on_in_mid_trip() -> None:
    profile = Profile(
        battery=Battery("li-ion", 14, 20.0, resistance_ohm=0.01),
        sensors=Sensors(current_offset_sd_a=0.0),
    )
    frames = stream(1800)
    through = Ride(profile)
    through.take(frames)
    number = np.arange(len(frames))
    half = len(frames) // 2
    first = Ride(profile)
    first.take(frames.where(number < half))
    kept = json.loads(json.dumps(first.kept()))
    second = Ride(profile, kept=kept)
    second.take(frames.where(number >= half + 400))
    anew = Ride(profile)
    anew.take(frames.where(number >= half + 400))
    left = [ride.snapshot("x", age_s=0.0).battery.left_wh.value for ride in (through, second, anew)]
    assert left[1] == pytest.approx(left[0], rel=0.01)
    assert left[2] > left[0] * 1.15
