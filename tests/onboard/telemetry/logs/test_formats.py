"""The table of log formats: recognised by content, opened and read through in the same way."""

from pathlib import Path

import pytest

from onboard.block import Block
from onboard.errors import LinkError, LogError
from onboard.telemetry.link.opening import open_link
from onboard.telemetry.logs.formats import (
    FORMATS,
    LogFormat,
    blocks_of,
    format_of,
    is_log,
    open_cursor,
    open_log,
)
from onboard.telemetry.logs.onboard_log import OnboardLog
from onboard.telemetry.logs.onboard_log.record_layouts import OWN_RECORD
from onboard.telemetry.logs.telemetry_log import TelemetryLog
from onboard.telemetry.messages.decoder import Decoder
from tests.craft.onboard_log import onboard_log_bytes
from tests.craft.recording import record
from tests.craft.scenarios import SCENARIOS
from tests.small_streams import Sender, records


def test_a_format_is_recognised_by_content(tmp_path: Path) -> None:
    telemetry, onboard = tmp_path / "ride.bin", tmp_path / "ride.tlog"
    telemetry.write_bytes(records(Sender().second(5, 50, 8, 2)))
    onboard.write_bytes(OWN_RECORD * 2)
    assert isinstance(open_log(telemetry), TelemetryLog)
    assert isinstance(open_log(onboard), OnboardLog)


def test_facts_count_what_was_read(tmp_path: Path) -> None:
    path = tmp_path / "log"
    frames = [frame for n in range(10) for frame in Sender().second(n, 50, 8, 2)]
    path.write_bytes(records(frames) + b"cut")
    log = open_log(path)
    assert sum(len(part) for part in log.parts()) == len(frames)
    facts = log.facts()
    assert (facts.format, facts.messages, facts.bad_bytes) == ("telemetry", len(frames), 3)
    assert facts.first_s == 1_750_000_000.0
    assert facts.duration_s == pytest.approx(0.1 * (len(frames) - 1)) == log.length_s()


def test_blocks_hold_the_whole_log(tmp_path: Path) -> None:
    path = tmp_path / "log"
    frames = [frame for n in range(10) for frame in Sender().second(n, 50, 8, 2)]
    path.write_bytes(records(frames))
    decoder = Decoder()
    found = list(blocks_of(open_log(path), decoder))
    # Samples that wait for a later stamp come with the last block.
    assert sum(len(block.channels.get("power", ())) for block in found) == 2 * 10
    assert decoder.messages == len(frames)


def test_a_file_of_no_format_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "notes.txt"
    path.write_text("Went out at nine, came back at ten.\n" * 50)
    with pytest.raises(LogError, match="no MAVLink frame"):
        list(open_log(path).parts())


def test_an_onboard_log_cannot_be_a_link(tmp_path: Path) -> None:
    path = tmp_path / "ride.bin"
    path.write_bytes(OWN_RECORD * 2)
    with pytest.raises(LinkError, match="replay or review it"):
        open_link(f"file:{path}", 57600)


def made(tmp_path: Path, name: str) -> Path:
    """Return a small log of a format."""
    path = tmp_path / "log"
    makers = {
        "raw": lambda: b"".join(f for n in range(9) for f in Sender().second(n + 1, 50, 8, 2)),
        "telemetry": lambda: records([f for n in range(9) for f in Sender().second(n, 50, 8, 2)]),
        "onboard": lambda: onboard_log_bytes(record(SCENARIOS["at_anchor"]))[:200_000],
    }
    path.write_bytes(makers[name]())
    return path


@pytest.mark.slow
@pytest.mark.parametrize("row", [pytest.param(row, id=row.name) for row in FORMATS])
def test_each_format_opens_and_is_walked_through(row: LogFormat, tmp_path: Path) -> None:
    path = made(tmp_path, row.name)
    assert format_of(path) is row
    log, decoder = open_log(path), Decoder()
    samples = sum(len(one) for block in blocks_of(log, decoder) for one in block.channels.values())
    assert log.facts().format == row.name
    assert log.facts().messages > 0
    cursor, length_s = open_cursor(path)
    assert length_s == pytest.approx(log.facts().duration_s)
    half, again = list(cursor.upto(length_s / 2)), cursor.copied()
    assert cursor.last_s <= length_s / 2
    rest = list(again.upto(length_s))
    assert again.ended
    walked = Decoder()
    blocks = [part if isinstance(part, Block) else walked.push(part) for part in (*half, *rest)]
    blocks.append(walked.finish())
    assert sum(len(one) for block in blocks for one in block.channels.values()) == samples


def test_the_last_row_takes_what_no_other_recognises() -> None:
    assert [row.recognise is None for row in FORMATS] == [False] * (len(FORMATS) - 1) + [True]


@pytest.mark.parametrize(
    ("name", "content", "expected"),
    [
        ("ride.tlog", b"whatever", True),
        ("RIDE.TLOG", b"", True),
        ("ride.bin", OWN_RECORD * 2, True),
        ("notes.txt", b"Went out at nine.\n", False),
        ("empty.bin", b"", False),
    ],
)
def test_a_file_is_a_log_by_its_suffix_or_its_content(
    tmp_path: Path, name: str, content: bytes, expected: bool
) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    assert is_log(path) == expected
