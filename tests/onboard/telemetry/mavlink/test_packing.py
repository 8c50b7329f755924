"""Packed frames equal those of pymavlink, byte for byte."""

import csv
from pathlib import Path

import pymavlink.dialects.v20.all as dialect
import pytest
from hypothesis import given
from hypothesis import strategies as st

from onboard.telemetry.mavlink import layouts, packing
from onboard.telemetry.mavlink.signing import Signer, ticks
from tests.onboard.telemetry.made_messages import ID

# Packed by pymavlink 2.4.50, checksums recomputed independently; ESC_STATUS by hand.
VECTORS = Path(__file__).parents[3] / "data" / "mavlink_test_vectors.csv"

KEY = bytes(range(32))
NOW_US = 1_764_063_600_123_456


def vectors() -> list[tuple[str, bytes]]:
    lines = VECTORS.read_text(encoding="utf-8").splitlines()[1:]
    rows = [(row["message"], bytes.fromhex(row["frame_hex"])) for row in csv.DictReader(lines)]
    return [(name, frame) for name, frame in rows if frame[2] == 0]


def link(sequence: int = 7, system: int = 1, component: int = 1) -> dialect.MAVLink:
    made = dialect.MAVLink(None, srcSystem=system, srcComponent=component)
    made.seq = sequence
    return made


def test_there_are_vectors() -> None:
    assert len(vectors()) >= 12


@pytest.mark.parametrize(("name", "frame"), vectors())
def test_published_and_reference_frames_are_packed_alike(name: str, frame: bytes) -> None:
    message_id = int.from_bytes(frame[7:10], "little")
    payload = frame[10:-2]
    assert packing.pack(message_id, payload, 7, 1, 1) == frame
    # Zeros at the payload's end are cut off.
    width = layouts.layout(message_id).fields.itemsize
    assert packing.pack(message_id, payload.ljust(width, b"\0"), 7, 1, 1) == frame


@given(
    st.tuples(st.integers(0, 255), st.integers(1, 255), st.integers(0, 255)),
    st.integers(0, 2**64 - 1),
    st.integers(0, 2**32 - 1),
    st.booleans(),
)
def test_any_system_time_equals_pymavlink(header, utc, boot, signed) -> None:
    theirs = link(*header)
    if signed:
        theirs.signing.secret_key = KEY
        theirs.signing.timestamp = ticks(NOW_US)
        theirs.signing.link_id = 3
        theirs.signing.sign_outgoing = True
    payload = utc.to_bytes(8, "little") + boot.to_bytes(4, "little")
    signer = Signer(KEY, lambda: NOW_US, link_id=3) if signed else None
    assert packing.pack(
        ID["SYSTEM_TIME"], payload, *header, signer=signer
    ) == dialect.MAVLink_system_time_message(utc, boot).pack(theirs)


def test_the_heartbeat_equals_pymavlink() -> None:
    theirs = dialect.MAVLink_heartbeat_message(
        dialect.MAV_TYPE_ONBOARD_CONTROLLER,
        dialect.MAV_AUTOPILOT_INVALID,
        0,
        0,
        dialect.MAV_STATE_ACTIVE,
        3,
    )
    assert packing.pack(*packing.heartbeat(), 7, 4, 191) == theirs.pack(link(7, 4, 191))


@given(st.integers(1, 255), st.integers(1, 255), st.integers(0, 20000), st.integers(1, 50))
def test_requests_equal_pymavlink(system, component, wanted, rate) -> None:
    ours = packing.message_interval(system, component, wanted, rate)
    theirs = dialect.MAVLink_command_long_message(
        system,
        component,
        dialect.MAV_CMD_SET_MESSAGE_INTERVAL,
        0,
        wanted,
        1e6 / rate,
        0,
        0,
        0,
        0,
        0,
    )
    assert packing.pack(*ours, 7, 1, 191) == theirs.pack(link(7, 1, 191))
    stream = packing.data_stream(system, component, dialect.MAV_DATA_STREAM_POSITION, rate)
    asked = dialect.MAVLink_request_data_stream_message(system, component, 6, rate, 1)
    assert packing.pack(*stream, 7, 1, 191) == asked.pack(link(7, 1, 191))


@pytest.mark.parametrize(
    ("system", "component", "rate"), [(0, 1, 2), (1, 0, 2), (256, 1, 2), (1, 1, 0), (1, 1, -1)]
)
def test_requests_to_everyone_or_at_no_rate_are_refused(
    system: int, component: int, rate: int
) -> None:
    with pytest.raises(ValueError, match="expected one"):
        packing.message_interval(system, component, 30, rate)
    with pytest.raises(ValueError, match="expected one"):
        packing.data_stream(system, component, 6, rate)


def test_values_that_fit_no_frame_are_refused() -> None:
    with pytest.raises(ValueError, match="one group"):
        packing.data_stream(1, 1, 0, 4)
    with pytest.raises(ValueError, match="256 bytes"):
        packing.pack(0, bytes(256), 0, 1, 1)
    with pytest.raises(ValueError, match="range"):
        packing.pack(0, b"1", 256, 1, 1)
    with pytest.raises(KeyError):
        packing.pack(54321, b"1", 0, 1, 1)
