"""Logs of both kinds through one door: told apart by content, whatever they are called."""

from pathlib import Path

import pytest

from onboard.errors import LinkError, LogError
from onboard.telemetry.link.opening import open_link
from onboard.telemetry.logs.formats import OnboardLogParts, blocks_of, open_log
from onboard.telemetry.logs.onboard_log.record_layouts import OWN_RECORD
from onboard.telemetry.logs.telemetry_log import TelemetryLog
from onboard.telemetry.messages.decoder import Decoder
from tests.small_streams import Sender, records


def test_a_log_is_told_by_its_content(tmp_path: Path) -> None:
    telemetry, onboard = tmp_path / "ride.bin", tmp_path / "ride.tlog"
    telemetry.write_bytes(records(Sender().second(5, 50, 8, 2)))
    onboard.write_bytes(OWN_RECORD * 2)
    assert isinstance(open_log(telemetry), TelemetryLog)
    assert isinstance(open_log(onboard), OnboardLogParts)


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


def test_the_blocks_of_a_log_are_all_that_it_holds(tmp_path: Path) -> None:
    path = tmp_path / "log"
    frames = [frame for n in range(10) for frame in Sender().second(n, 50, 8, 2)]
    path.write_bytes(records(frames))
    decoder = Decoder()
    found = list(blocks_of(open_log(path), decoder))
    # What waits for a later stamp to be placed by comes with the last.
    assert sum(len(block.channels.get("power", ())) for block in found) == 2 * 10
    assert decoder.messages == len(frames)


def test_what_is_neither_is_said_in_a_line(tmp_path: Path) -> None:
    path = tmp_path / "notes.txt"
    path.write_text("Went out at nine, came back at ten.\n" * 50)
    with pytest.raises(LogError, match="no MAVLink frame"):
        list(open_log(path).parts())


def test_an_onboard_log_is_no_link(tmp_path: Path) -> None:
    path = tmp_path / "ride.bin"
    path.write_bytes(OWN_RECORD * 2)
    with pytest.raises(LinkError, match="replay or review it"):
        open_link(f"file:{path}", 57600)
