"""First bytes of on-board logs, and others."""

import pytest

from onboard.telemetry.logs.onboard_log import looks_like_onboard_log
from tests.craft.onboard_kinds import BAT, FMT, format_record

OWN, OTHER = format_record(FMT), format_record(BAT)


@pytest.mark.parametrize(
    "head",
    [
        OWN,
        OWN + OTHER,
        OTHER,
        OTHER + b"\xa3\x95\x80",
        bytes(4000) + OWN,
        b"\xa3\x95\x80" * 100 + OTHER + OWN,
        b"\xff" * 8192 + OTHER,
    ],
)
def test_logs(head: bytes) -> None:
    assert looks_like_onboard_log(head)


@pytest.mark.parametrize(
    "head",
    [
        b"",
        OWN[:-1],
        OTHER + b"junk",
        b"\xa3\x95\x80" + bytes(86),
        bytes(8193) + OWN,
        # A telemetry log: stamp and HEARTBEAT (a published frame: rust-mavlink, tests/test_shared).
        bytes.fromhex("00064468103f1e40" + "fe09ef0102000500000002035903031f50"),
        # Lengths do not add up: a length of 33 stands for fields of 30 bytes.
        OTHER[:4] + bytes([33]) + OTHER[5:],
    ],
)
def test_other_bytes(head: bytes) -> None:
    assert not looks_like_onboard_log(head)
