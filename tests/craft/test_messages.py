"""The messages and the stream that they form."""

from collections import Counter
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pymavlink.dialects.v20.all as dialect
import pytest

from tests.craft.drive_messages import EscStatus
from tests.craft.mavlink_stream import Frame, StreamOptions, ground_station_frames
from tests.craft.power_messages import cell_fields
from tests.craft.recording import COMPANION_ID, Recording, record, stream
from tests.craft.scenarios import AT_ANCHOR
from tests.craft.sensors import read

# Tolerance of a field: half of its unit, and a float's last digits.
HALF = 0.5000001


def decoded(frames: list[Frame]) -> list[Any]:
    """Return the frames as decoded by pymavlink, which raises on a bad checksum."""
    reader = dialect.MAVLink(None)
    return [reader.decode(bytearray(frame.data)) for frame in frames]


def of_type(recording: Recording, name: str, system: int = 1) -> list[Any]:
    return [
        message
        for message in decoded(recording.frames)
        if message.get_type() == name and message.get_srcSystem() == system
    ]


def steps_of(messages: list[Any], recording: Recording) -> list[int]:
    """Return the step of each message from its time since boot."""
    boot_s, step_s = recording.scenario.options.boot_s, recording.truth.step_s
    return [round((message.time_boot_ms / 1e3 - boot_s) / step_s) for message in messages]


def test_position_and_velocity_decode_to_the_readings(harbour: Recording) -> None:
    # pymavlink decodes; fields and units by common.xml: degE7, cm/s, cdeg.
    messages = of_type(harbour, "GLOBAL_POSITION_INT")
    readings = read(harbour.truth, harbour.scenario.sensors, harbour.seed)
    at = steps_of(messages, harbour)
    got = np.array([(m.lat, m.lon, m.vx, m.vy) for m in messages], dtype=float)
    want = np.column_stack(
        (
            readings.latitude_deg[at] * 1e7,
            readings.longitude_deg[at] * 1e7,
            readings.fused_north_mps[at] * 1e2,
            readings.fused_east_mps[at] * 1e2,
        )
    )
    assert np.abs(got - want).max() <= HALF
    turns = (np.array([m.hdg for m in messages]) - readings.heading_deg[at] * 1e2) % 36000.0
    assert np.minimum(turns, 36000.0 - turns).max() <= HALF


def test_fix_decodes_to_the_readings_of_its_own_time(harbour: Recording) -> None:
    # common.xml: time_usec is Unix time when it is large; cm/s; accuracies in mm and mm/s.
    messages = of_type(harbour, "GPS_RAW_INT")
    readings = read(harbour.truth, harbour.scenario.sensors, harbour.seed)
    start_us = harbour.scenario.start_unix_s * 1e6
    at = [round((m.time_usec - start_us) * 1e-6 / harbour.truth.step_s) for m in messages]
    speeds = np.hypot(readings.east_mps[at], readings.north_mps[at])
    assert np.abs(np.array([m.vel for m in messages]) - speeds * 1e2).max() <= HALF
    latitudes = np.array([m.lat for m in messages], dtype=float)
    assert np.abs(latitudes - readings.latitude_deg[at] * 1e7).max() <= HALF
    assert {(m.fix_type, m.h_acc, m.vel_acc) for m in messages} == {(3, 1200, 45)}
    arrived = [f.time_s for f in harbour.frames if f.data[7:10] == b"\x18\x00\x00"]
    ages_s = np.array(arrived) - harbour.truth.time_s[at]
    assert np.median(ages_s) == pytest.approx(0.106, abs=0.005)


def test_battery_decodes_to_truth_through_the_sensors(harbour: Recording) -> None:
    # common.xml: mV, cA, mAh, hJ (36 to the watt-hour); 14 cells reach into the extension field.
    messages = of_type(harbour, "BATTERY_STATUS")
    readings = read(harbour.truth, harbour.scenario.sensors, harbour.seed)
    last = messages[-1]
    assert last.current_consumed == pytest.approx(readings.used_ah[-1] * 1e3, abs=1.0)
    assert last.energy_consumed / 36.0 == pytest.approx(readings.used_wh[-1], abs=0.05)
    packs_v = []
    for message in messages:
        assert 65535 not in message.voltages
        assert all(message.voltages_ext)
        packs_v.append((sum(message.voltages) + sum(message.voltages_ext)) / 1e3)
    counted = np.array([m.energy_consumed for m in messages])
    assert np.all(np.diff(counted) >= 0)
    scale = harbour.scenario.sensors.voltage_scale
    assert np.mean(packs_v) * scale == pytest.approx(harbour.truth.volts_v.mean(), rel=1e-3)


def test_power_by_the_stream_alone_is_the_reported_energy(harbour: Recording) -> None:
    # A plain sum over SYS_STATUS, 2 Hz: the stream agrees with the truth file.
    messages = of_type(harbour, "SYS_STATUS")
    watts = [m.voltage_battery / 1e3 * m.current_battery / 1e2 for m in messages]
    readings = read(harbour.truth, harbour.scenario.sensors, harbour.seed)
    assert sum(watts) * 0.5 / 3600.0 == pytest.approx(readings.used_wh[-1], rel=3e-3)
    assert all(m.current_battery >= 0 for m in messages)


def test_drive_decodes_to_the_truth(harbour: Recording) -> None:
    # The rpm field counts electrical turns: rpm times pole pairs.
    messages = of_type(harbour, "ESC_TELEMETRY_1_TO_4")
    at = [message.count[0] for message in messages]  # the ride has fewer steps than the count wraps
    truth, pole_pairs = harbour.truth, harbour.scenario.ride.craft.motor.pole_pairs
    turns = np.array([m.rpm[0] for m in messages], dtype=float)
    assert np.abs(turns - truth.motor_rpm[at] * pole_pairs).max() <= HALF
    volts = np.array([m.voltage[0] for m in messages], dtype=float)
    assert np.abs(volts - truth.volts_v[at] * 1e2).max() <= HALF


def test_rates_and_identities(harbour: Recording) -> None:
    messages = decoded(harbour.frames)
    counts = Counter(message.get_type() for message in messages)
    for name, rate_hz in harbour.scenario.options.rates_hz.items():
        assert counts[name] == pytest.approx(rate_hz * harbour.truth.duration_s, abs=1.5)
    assert {(m.get_srcSystem(), m.get_srcComponent()) for m in messages} == {(1, 1)}
    assert {frame.data[0] for frame in harbour.frames} == {0xFD}
    assert all(
        (after.get_seq() - before.get_seq()) % 256 == 1 for before, after in pairwise(messages)
    )
    beats = [message for message in messages if message.get_type() == "HEARTBEAT"]
    # minimal.xml: 11 is a surface boat, 8 would be no autopilot, 128 the flag of an armed one.
    assert all(m.type == 11 and m.autopilot != 8 and m.base_mode & 128 for m in beats)
    assert all(before.time_s <= after.time_s for before, after in pairwise(harbour.frames))


def test_board_sends_mavlink_1_among_others(board: Recording) -> None:
    own = [frame for frame in board.frames if frame.data[0] == 0xFE]
    assert {frame.data[3] for frame in own} == {1}
    others = [frame for frame in board.frames if frame.data[0] == 0xFD]
    assert {frame.data[5] for frame in others} == {COMPANION_ID, 255}
    (beat,) = {(m.type, m.autopilot) for m in of_type(board, "HEARTBEAT", 255)}
    assert beat == (6, 8)  # minimal.xml: a ground station, no autopilot


def test_before_the_first_fix_everything_is_unknown(board: Recording) -> None:
    # common.xml: 65535 and 255 stand for unknown; Unix time is 0 before the first fix
    # (common practice, no source).
    first_fix_s = board.scenario.options.first_fix_s
    early = [frame for frame in board.frames if frame.time_s < first_fix_s]
    names = Counter(m.get_type() for m in decoded(early) if m.get_srcSystem() == 1)
    assert names["GLOBAL_POSITION_INT"] == 0
    assert names["GPS_RAW_INT"] > 10
    for message in decoded(early):
        if message.get_srcSystem() == 1 and message.get_type() == "GPS_RAW_INT":
            assert (message.fix_type, message.vel, message.cog, message.eph) == (1, *[65535] * 3)
            assert message.satellites_visible == 255
        if message.get_srcSystem() == 1 and message.get_type() == "SYSTEM_TIME":
            assert message.time_unix_usec == 0


@pytest.mark.parametrize(
    ("volts", "cells", "each", "first", "rest"),
    [
        # Pack voltage alone in the first field, the excess over 65.534 V in the next: common.xml.
        (26.4, 8, False, [26400] + [65535] * 9, [0] * 4),
        (68.0, 16, False, [65534, 2466] + [65535] * 8, [0] * 4),
        (65.534, 16, False, [65534] + [65535] * 9, [0] * 4),
    ],
)
def test_pack_voltage_fields(
    volts: float, cells: int, each: bool, first: list[int], rest: list[int]
) -> None:
    assert cell_fields(volts, cells, each) == (first, rest)


def test_unused_cells_are_65535_then_0() -> None:
    # common.xml: unused cells of `voltages` are 65535, of `voltages_ext` 0.
    first, rest = cell_fields(26.4, 8, True)
    assert first[8:] == [65535, 65535]
    assert rest == [0] * 4
    assert sum(first[:8]) == pytest.approx(26400, abs=4)


def test_hand_packed_drive_message() -> None:
    # A frame packed by hand from a generated C header (id 291, CRC_EXTRA 10): 1234 rpm, 26.4 V,
    # 15.23 A, time 123456789 us, sequence 7, system and component 1. Its checksum was computed
    # with another CRC-16/MCRF4XX.
    import struct

    mav = dialect.MAVLink(None, srcSystem=1, srcComponent=1)
    mav.seq = 7
    payload = struct.pack(
        "<Q4i4f4fB", 123456789, 1234, 0, 0, 0, 26.4, 0.0, 0.0, 0.0, 15.23, 0.0, 0.0, 0.0, 0
    )
    assert EscStatus(payload).pack(mav).hex() == (
        "fd2c000007010123010015cd5b0700000000d20400000000000000000000000000003333d341"
        "00000000000000000000000014ae7341c9a6"
    )


def test_hand_packed_drive_message_is_sent_if_its_rate_is_set(harbour: Recording) -> None:
    import struct

    options = StreamOptions(rates_hz={"ESC_STATUS": 1.0})
    frames = stream(harbour.scenario, harbour.truth, harbour.seed, options)
    assert len(frames) == pytest.approx(harbour.truth.duration_s, abs=1.5)
    middle = frames[len(frames) // 2].data
    payload = middle[10:-2].ljust(57, b"\0")  # zero bytes at the end are not sent
    stamp_us, rpm = struct.unpack_from("<Qi", payload)
    at = round((stamp_us * 1e-6 - options.boot_s) / harbour.truth.step_s)
    assert rpm == round(harbour.truth.motor_rpm[at]) > 0


def test_lost_frames_leave_gaps_in_the_sequence(board: Recording) -> None:
    options = replace(board.scenario.options, lost_fraction=0.1)
    messages = decoded(stream(board.scenario, board.truth, board.seed, options))
    gaps = [(b.get_seq() - a.get_seq()) % 256 - 1 for a, b in pairwise(messages)]
    share = sum(gaps) / (sum(gaps) + len(messages))
    assert share == pytest.approx(0.1, abs=0.012)


@pytest.mark.slow
def test_bytes_depend_only_on_the_seed() -> None:
    first, again, other = record(AT_ANCHOR), record(AT_ANCHOR), record(AT_ANCHOR, 4)
    assert first.frames == again.frames
    assert first.frames != other.frames


def test_ground_station_beats_once_a_second() -> None:
    frames = ground_station_frames(10.0)
    assert np.diff([frame.time_s for frame in frames]) == pytest.approx(1.0)
    assert [message.get_seq() for message in decoded(frames)] == list(range(10))
