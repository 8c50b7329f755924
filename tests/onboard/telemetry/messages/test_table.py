"""The table of messages: each row is consistent, and decodes frames to the values beside them.

tests/data/mavlink_test_vectors.csv: frames made with pymavlink 2.4.50, checksums verified with
another implementation; the ESC_STATUS frame is packed by hand after MAVLink's common message set.
"""

import csv
import math
from pathlib import Path

import numpy as np
import pymavlink.dialects.v20.all as dialect
import pytest

from onboard.block import COLUMNS
from onboard.telemetry.link.link_scanner import LinkScanner
from onboard.telemetry.mavlink import layouts, packing
from onboard.telemetry.mavlink.checksum import crc
from onboard.telemetry.messages.decoder import Decoder
from onboard.telemetry.messages.table import MESSAGES, Message
from tests.onboard.telemetry.made_messages import ID

TABLE = Path(__file__).parents[3] / "data" / "mavlink_test_vectors.csv"


def vectors() -> dict[str, bytes]:
    with TABLE.open(newline="") as file:
        next(file)  # the line with their origin
        return {row["message"]: bytes.fromhex(row["frame_hex"]) for row in csv.DictReader(file)}


ROWS = [pytest.param(message, id=message.name) for message in MESSAGES.values()]


@pytest.mark.parametrize("message", ROWS)
def test_a_row_fills_exactly_the_columns_of_its_channel(message: Message) -> None:
    fields = layouts.layout(message.id).fields
    assert message.boot_clock == ("time_boot_ms" in fields.names)
    if message.convert is None:
        assert message.boot_clock, "a row that is good for nothing"
        return
    columns = message.convert(np.zeros(3, fields))
    assert set(columns) == set(COLUMNS[message.channel])
    assert {len(column) for column in columns.values()} == {3 * message.samples}
    assert message.present in ("", *columns)


def test_stream_groups_are_those_of_the_definitions() -> None:
    groups = {message.name: message.groups for message in MESSAGES.values()}
    expected = {
        "SYS_STATUS": (dialect.MAV_DATA_STREAM_EXTENDED_STATUS,),
        "GPS_RAW_INT": (
            dialect.MAV_DATA_STREAM_EXTENDED_STATUS,
            dialect.MAV_DATA_STREAM_RAW_SENSORS,
        ),
        "GLOBAL_POSITION_INT": (dialect.MAV_DATA_STREAM_POSITION,),
        "ATTITUDE": (dialect.MAV_DATA_STREAM_EXTRA1,),
        "VFR_HUD": (dialect.MAV_DATA_STREAM_EXTRA2,),
        "BATTERY_STATUS": (dialect.MAV_DATA_STREAM_EXTRA3,),
        "SYSTEM_TIME": (dialect.MAV_DATA_STREAM_EXTRA3,),
    }
    assert groups.items() >= expected.items()


def test_every_channel_is_filled_by_a_row() -> None:
    assert {message.channel for message in MESSAGES.values()} - {""} == set(COLUMNS)


@pytest.mark.parametrize("message", ROWS)
def test_the_decoder_follows_the_row(message: Message) -> None:
    # Every byte 1: a plausible value of every field.
    payload = bytes([1]) * layouts.layout(message.id).fields.itemsize
    beat = dialect.MAVLink_heartbeat_message(11, 3, 0, 0, 4, 3).pack(dialect.MAVLink(None, 1, 1))
    decoder = Decoder(system_id=1)
    sent = beat + packing.pack(message.id, payload, 1, 1, 1)
    blocks = [decoder.push(LinkScanner().push([(0, sent)])), decoder.finish()]
    filled = {name for block in blocks for name in block.channels}
    assert filled == {"heartbeat", message.channel} - {""}
    boot_s = int.from_bytes(bytes([1]) * 4) * 1e-3
    assert decoder.time.boot_s == pytest.approx(
        boot_s if message.boot_clock else math.nan, nan_ok=True
    )


UNKNOWN = None
MEANING = [
    ("HEARTBEAT", {"mode": 4.0, "armed": 0.0}),
    ("SYS_STATUS", {"volts_v": 26.4, "amps_a": 15.23, "left_fraction": 0.87}),
    (
        "SYS_STATUS_unknown",
        {"volts_v": UNKNOWN, "amps_a": UNKNOWN, "left_fraction": UNKNOWN},
    ),
    (
        "BATTERY_STATUS",
        {
            "volts_v": 26.404,
            "amps_a": 15.23,
            "charge_out_ah": 4.21,
            "energy_out_wh": 110.0,
            "temperature_degc": 21.5,
            "cells": 8,
            "low_cell": 6,
            "low_cell_v": 3.298,
            "high_cell_v": 3.303,
        },
    ),
    (
        "BATTERY_STATUS_packonly",
        {
            "volts_v": 26.4,
            "amps_a": UNKNOWN,
            "charge_out_ah": UNKNOWN,
            "energy_out_wh": UNKNOWN,
            "temperature_degc": UNKNOWN,
            "left_fraction": UNKNOWN,
            "cells": 1,
            "low_cell": UNKNOWN,
            "low_cell_v": UNKNOWN,
            "high_cell_v": UNKNOWN,
        },
    ),
    ("BATTERY_STATUS_over65V", {"volts_v": 68.0, "cells": 2}),
    (
        "GPS_RAW_INT",
        {
            "fix": 3,
            "latitude_deg": 52.3456789,
            "longitude_deg": 4.8765432,
            "dilution": 0.85,
            "speed_mps": 2.13,
            "course_deg": 273.4,
            "satellites": 14,
            "horizontal_sd_m": 0.9,
            "speed_sd_mps": 0.12,
        },
    ),
    (
        "GPS_RAW_INT_unknown",
        {
            "fix": 1,
            "latitude_deg": UNKNOWN,
            "speed_mps": UNKNOWN,
            "course_deg": UNKNOWN,
            "satellites": UNKNOWN,
            "horizontal_sd_m": UNKNOWN,
            "speed_sd_mps": UNKNOWN,
            "dilution": UNKNOWN,
        },
    ),
    (
        "GLOBAL_POSITION_INT",
        {"north_mps": -0.13, "east_mps": -2.12, "heading_deg": 273.5, "latitude_deg": 52.3456789},
    ),
    ("VFR_HUD", {"speed_mps": 2.13, "throttle_fraction": 0.46}),
    ("SYSTEM_TIME", {"utc_s": 1764063600.123456}),
    (
        "ESC_TELEMETRY_1_TO_4",
        {"erpm": 8641, "volts_v": 26.4, "amps_a": 15.23, "temperature_degc": 41, "rpm": UNKNOWN},
    ),
    ("RPM", {"rpm": 1234.5, "erpm": UNKNOWN, "volts_v": UNKNOWN, "amps_a": UNKNOWN}),
    (
        "ESC_STATUS (hand-packed)",
        {"rpm": 1234, "volts_v": 26.4, "amps_a": 15.23, "erpm": UNKNOWN},
    ),
]


def test_every_row_that_decodes_is_tried() -> None:
    tried = {int(LinkScanner().push([(0, vectors()[name])]).message_id[0]) for name, _ in MEANING}
    tried |= {ID["ATTITUDE"]}  # packed by pymavlink, below
    assert tried == {number for number, message in MESSAGES.items() if message.convert}


@pytest.mark.parametrize(("name", "meaning"), MEANING)
def test_vectors_decode_to_the_values_beside_them(name: str, meaning: dict) -> None:
    frames = LinkScanner().push([(0, vectors()[name])])
    assert len(frames) == 1
    message_id = int(frames.message_id[0])
    columns = MESSAGES[message_id].convert(frames.rows(layouts.layout(message_id)))
    for column, value in meaning.items():
        got = float(columns[column][0])
        if value is UNKNOWN:
            assert math.isnan(got), column
        else:
            assert got == pytest.approx(value, rel=1e-6), column


def battery_volts(cells, ext=(0, 0, 0, 0)) -> float:
    message = dialect.MAVLink_battery_status_message(
        0, 0, 1, 2000, [*cells, *[65535] * (10 - len(cells))], 100, 0, 0, 50, 0, 0, list(ext)
    )
    frame = message.pack(dialect.MAVLink(None, 1, 1))
    frames = LinkScanner().push([(0, frame)])
    layout = layouts.layout(ID["BATTERY_STATUS"])
    return float(MESSAGES[ID["BATTERY_STATUS"]].convert(frames.rows(layout))["volts_v"][0])


@pytest.mark.parametrize("usec", [0, 1, 300_000_000_000_000_000, 2**64 - 1])
def test_an_implausible_clock_is_unknown(usec: int) -> None:
    frame = dialect.MAVLink_system_time_message(usec, 5).pack(dialect.MAVLink(None, 1, 1))
    frames = LinkScanner().push([(0, frame)])
    rows = frames.rows(layouts.layout(ID["SYSTEM_TIME"]))
    assert math.isnan(MESSAGES[ID["SYSTEM_TIME"]].convert(rows)["utc_s"][0])


def test_a_position_of_zero_zero_is_unknown() -> None:
    message = dialect.MAVLink_gps_raw_int_message(0, 3, 0, 0, 0, 90, 90, 200, 0, 12)
    frames = LinkScanner().push([(0, message.pack(dialect.MAVLink(None, 1, 1)))])
    columns = MESSAGES[ID["GPS_RAW_INT"]].convert(frames.rows(layouts.layout(ID["GPS_RAW_INT"])))
    assert math.isnan(columns["latitude_deg"][0])
    assert columns["speed_mps"][0] == 2.0


def test_attitude_is_in_degrees_and_its_heading_a_compass_course() -> None:
    message = dialect.MAVLink_attitude_message(1000, math.radians(3.0), -0.1, -0.5, 0, 0, 0)
    frames = LinkScanner().push([(0, message.pack(dialect.MAVLink(None, 1, 1)))])
    columns = MESSAGES[ID["ATTITUDE"]].convert(frames.rows(layouts.layout(ID["ATTITUDE"])))
    got = {name: float(column[0]) for name, column in columns.items()}
    assert got == pytest.approx(
        {
            "roll_deg": 3.0,
            "pitch_deg": math.degrees(-0.1),
            "heading_deg": 360.0 - math.degrees(0.5),
        },
        rel=1e-6,
    )


@pytest.mark.parametrize(
    ("fix", "known"), [(0, False), (1, False), (2, True), (3, True), (6, True)]
)
def test_without_a_fix_position_and_speed_are_unknown(fix: int, known: bool) -> None:
    # A receiver that lost its fix may go on stating the last values: GPS_FIX_TYPE 0 and 1 are
    # 'no GPS' and 'no fix' in MAVLink's common message set.
    message = dialect.MAVLink_gps_raw_int_message(
        0, fix, 523456789, 48765432, 0, 90, 90, 213, 27340, 12
    )
    frames = LinkScanner().push([(0, message.pack(dialect.MAVLink(None, 1, 1)))])
    columns = MESSAGES[ID["GPS_RAW_INT"]].convert(frames.rows(layouts.layout(ID["GPS_RAW_INT"])))
    meaning = {
        "latitude_deg": 52.3456789, "longitude_deg": 4.8765432, "speed_mps": 2.13,
        "course_deg": 273.4,
    }  # fmt: skip
    for column, value in meaning.items():
        got = float(columns[column][0])
        assert got == pytest.approx(value) if known else math.isnan(got), column
    assert columns["fix"][0] == fix


def test_cells_beyond_the_tenth_count() -> None:
    # common message set: voltages_ext continues voltages; there zero means 'no such cell'.
    assert battery_volts([4000] * 10, (4000, 4000, 0, 0)) == pytest.approx(48.0)


def test_a_tall_pack_spills_into_the_second_cell() -> None:
    assert battery_volts([65534, 18466]) == pytest.approx(84.0)


def test_layouts_have_the_sizes_that_pymavlink_packs() -> None:
    for message_id, message in dialect.mavlink_map.items():
        layout = layouts.layout(message_id)
        assert layout.fields.itemsize == message.unpacker.size, message.msgname
        assert layout.crc_extra == message.crc_extra


def test_crc_extra_of_esc_status_follows_from_its_definition() -> None:
    # MAVLink serialisation guide: CRC over message name and the fields' types and names in wire
    # order, array lengths as bytes, both halves folded together.
    seed = b"ESC_STATUS uint64_t time_usec "
    for kind, name in (("int32_t", "rpm"), ("float", "voltage"), ("float", "current")):
        seed += f"{kind} {name} ".encode() + bytes([4])
    seed += b"uint8_t index "
    value = crc(seed)
    assert (value & 255) ^ (value >> 8) == layouts.layout(ID["ESC_STATUS"]).crc_extra == 10
