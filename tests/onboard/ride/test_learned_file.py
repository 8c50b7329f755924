"""State saved after a run of the daemon: written atomically, continued in the same trip."""

import json

import numpy as np
import pytest

from onboard.efficiency.battery.recharge import Away
from onboard.profile import Battery, Profile, Sensors, parse_profile
from onboard.ride.learned_file import FILE_NAME, Clocks, away_since, load, same_trip, save
from onboard.ride.ride import Ride
from onboard.telemetry.link.link_scanner import LinkScanner
from onboard.telemetry.mavlink.frames import Frames
from onboard.telemetry.mavlink.log_scanner import LogScanner
from tests.small_streams import Sender, records
from tests.wire import wire

BEFORE = {"clocks": {"boot_s": 600.0, "utc_s": 1.75e9, "counter_ah": 2.0}}
NAN = float("nan")


def test_the_saved_state_is_read_back(tmp_path) -> None:
    save(tmp_path, {"battery": None, "curves": {}})
    assert load(tmp_path) == {"schema": 1, "battery": None, "curves": {}}
    assert [path.name for path in tmp_path.iterdir()] == [FILE_NAME]


@pytest.mark.parametrize(
    "text", ["", "{", "[" * 9999, '{"schema": 1' + "0" * 400 + "}", '{"schema": 2}']
)
def test_an_unusable_file_is_ignored(tmp_path, text: str) -> None:
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


@pytest.mark.parametrize(
    ("began", "pause_s", "was_running", "asks"),
    [
        (Clocks(700.0, 1.75e9 + 100.0, NAN), 100.0, True, False),
        (Clocks(700.0, NAN, NAN), 100.0, True, False),
        (Clocks(600.0 + 3600.0, NAN, NAN), 3600.0, True, True),
        (Clocks(10.0, 1.75e9 + 15.0, NAN), 15.0, False, False),
        (Clocks(10.0, 1.75e9 + 601.0, NAN), 601.0, False, True),
        (Clocks(10.0, 1.75e9 - 86_400.0, NAN), NAN, False, True),
        (Clocks(10.0, NAN, NAN), NAN, False, True),
        # Restarted just before: its boot clock is uninformative, as it is four hours later.
        (Clocks(590.0, NAN, 0.0), NAN, False, True),
        (Clocks(600.0 + 4 * 3600.0, NAN, 0.0), NAN, False, True),
    ],
)
def test_after_ten_minutes_or_an_unknown_time_the_rider_is_asked(
    began: Clocks, pause_s: float, was_running: bool, asks: bool
) -> None:
    away = away_since(BEFORE, began)
    assert (away.pause_s, away.was_running) == pytest.approx((pause_s, was_running), nan_ok=True)
    assert away.opens_question is asks
    assert away.unseen_sd <= 0.03
    assert not Away(3600.0, True, drawn_ah=1.0).opens_question  # its counter showed it


def stream(seconds: int, amps: float = 20.0) -> Frames:
    """Return the frames of a steady ride whose autopilot counts charge."""
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


def test_a_new_daemon_continues_the_battery_count_in_mid_trip() -> None:
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
    kept = json.loads(json.dumps(first.saved_state()))
    second = Ride(profile, saved=kept)
    second.take(frames.where(number >= half + 400))
    anew = Ride(profile)
    anew.take(frames.where(number >= half + 400))
    left = [ride.snapshot("x", age_s=0.0).battery.left_wh.value for ride in (through, second, anew)]
    assert left[1] == pytest.approx(left[0], rel=0.01)
    assert left[2] > left[0] * 1.15
    assert second.snapshot("x", age_s=0.0).alerts == through.snapshot("x", age_s=0.0).alerts


@pytest.mark.parametrize("pause_s", [20.0, 7200.0])
def test_a_second_ride_is_the_same_for_any_partition(pause_s: float) -> None:
    # The time of day is known after 40 s only; the pack rests at power-on.
    profile = Profile(battery=Battery("li-ion", 14, 20.0, resistance_ohm=0.01))
    kept = json.loads(json.dumps(counted(profile)))
    sender, made = Sender(), list[bytes]()
    for second in range(150):
        amps = 0.2 if second < 25 else 20.0
        made += sender.second(10.0 + second, 51.0, amps, 2.0)
        drawn_mah = max(second - 25, 0) * 20.0 / 3.6
        made.append(sender.battery_status(51.0, amps, drawn_mah=drawn_mah))
        if second >= 40:
            made.append(sender.time_of_day(UTC_S + pause_s + second, 10.0 + second))
    frames = LogScanner().push(records(made, step_us=110_000) + bytes(32))
    whole, pieces = Ride(profile, saved=kept), Ride(profile, saved=kept)
    whole.take(frames)
    for part in np.array_split(np.arange(len(frames)), 300):
        pieces.take(frames.where(part))
    taken = [wire(ride.snapshot("x", age_s=0.0)) for ride in (whole, pieces)]
    for one in taken:
        del one["link"]
    assert taken[0] == taken[1]
    # It was a short pause, or the voltage showed that nothing was charged.
    assert [alert["code"] for alert in taken[0]["alerts"]] == []
    # Half was left, 0.2 of it the reserve; 0.035 was drawn since, and the voltage says a bit less.
    assert 0.15 < taken[0]["battery"]["left_fraction"]["value"] < 0.3


UTC_S = 1_750_000_000.0


def counted(profile: Profile) -> dict[str, object]:
    """Return the state saved after a ride that drew half of the pack."""
    ride, sender, made = Ride(profile), Sender(), list[bytes]()
    for second in range(360):
        made += sender.second(100.0 + second, 50.0, 100.0, 2.0)
        made.append(sender.time_of_day(UTC_S - 360 + second, 100.0 + second))
    ride.take(LogScanner().push(records(made, step_us=125_000) + bytes(32)))
    ride.finish()
    return ride.saved_state()


@pytest.mark.parametrize("tail", [2, 4, 7, 10, 14])
def test_charge_drawn_in_a_stream_of_a_few_seconds_counts(tail: int) -> None:
    # As at the end of a record being refolded: no pause, and no second has settled yet.
    profile = parse_profile("[battery]\nchemistry = 'lfp'\ncells = 16\ncapacity_ah = 20.0\n")
    sender, before, whole = Sender(), LinkScanner(), Ride(profile)
    end_s = 60

    def second(at_s: int) -> list[tuple[int, bytes]]:
        frames = sender.second(float(at_s), 52.0, 90.0, 2.0)
        frames.append(sender.time_of_day(1.76e9 + at_s, float(at_s)))
        return [(1_000_000 * at_s, b"".join(frames))]

    for at_s in range(end_s - tail):
        whole.take(before.push(second(at_s)))
    kept = whole.saved_state()
    rest, behind = Ride(profile, None, kept), LinkScanner()
    for at_s in range(end_s - tail, end_s):
        made = second(at_s)
        whole.take(before.push(made))
        rest.take(behind.push(made))
    for ride in (whole, rest):
        ride.finish()
    after = rest.saved_state()["battery"]
    assert not after["unsaid"] and after["unsaid_since_utc_s"] is None
    assert np.isfinite(after["covariance"]).all()
    # The second before the first of the rest is in the counter, not in the current: 90 As.
    assert after["fraction"] == pytest.approx(
        whole.saved_state()["battery"]["fraction"], abs=0.0015
    )
