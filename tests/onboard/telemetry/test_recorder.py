"""What is recorded reads back as what came, byte for byte."""

import json
from pathlib import Path

import pytest

from onboard.errors import UsageError
from onboard.telemetry.link_scanner import LinkScanner
from onboard.telemetry.log_files import RECORD_NAME
from onboard.telemetry.recorder import Recorder
from onboard.telemetry.telemetry_log import read_log
from tests.small_streams import Sender

START_US = 1_750_000_000_000_000


def test_frames_are_written_unaltered_and_bad_bytes_are_not(tmp_path: Path) -> None:
    sender, scanner = Sender(), LinkScanner()
    recorder = Recorder(tmp_path, START_US, "[craft]\n")
    sent: list[bytes] = []
    unknown = bytes.fromhex("fd0100000001013be20077abcd")  # id 57915: no message that we know
    for n in range(30):
        frames = [sender.attitude(n), unknown, *sender.second(n, 50, 10, 2)]
        sent += frames
        stamp_us = START_US + 1_000_000 * n
        recorder.write(scanner.push([(stamp_us, b"".join(frames))]), stamp_us)
    junk = scanner.push([(START_US + 31_000_000, b"\x00garbage\x01" + sender.heartbeat())])
    recorder.write(junk, START_US + 31_000_000)
    recorder.close()
    data = (recorder.folder / RECORD_NAME).read_bytes()
    assert b"garbage" not in data
    frames = list(read_log(recorder.folder))
    assert sum(part.bad_bytes for part in frames) == 0
    spans = [
        part.data[at : at + size].tobytes()
        for part in frames
        for at, size in zip(part.marker.tolist(), part.size.tolist(), strict=True)
    ]
    assert spans[: len(sent)] == sent
    assert all(stamp & 3 == 0 for part in frames for stamp in part.stamp_us.tolist())
    assert (recorder.folder / "profile.toml").read_text() == "[craft]\n"


def test_it_is_flushed_once_a_second(tmp_path: Path) -> None:
    recorder, scanner, sender = Recorder(tmp_path, START_US), LinkScanner(), Sender()
    for tenth in range(12):
        stamp_us = START_US + 100_000 * tenth
        recorder.write(scanner.push([(stamp_us, sender.heartbeat())]), stamp_us)
    # Not closed: what is on disk is what a power cut would leave.
    assert sum(map(len, read_log(recorder.folder))) == 11
    recorder.close()


def test_utc_is_noted_once_beside_the_record(tmp_path: Path) -> None:
    recorder = Recorder(tmp_path, START_US)
    recorder.note_utc("2026-05-02T09:10:11.0Z", START_US + 4)
    recorder.note_utc("2026-05-02T09:10:12.0Z", START_US + 8)
    recorder.close()
    note = json.loads((recorder.folder / "clock.json").read_text())
    assert note == {"stamp_us": START_US + 4, "utc": "2026-05-02T09:10:11.0Z"}


def test_two_sessions_in_one_second_keep_apart(tmp_path: Path) -> None:
    first, second = Recorder(tmp_path, START_US), Recorder(tmp_path, START_US)
    assert first.folder != second.folder
    first.close()
    second.close()


def test_a_folder_that_cannot_be_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(UsageError, match="--record"):
        Recorder(tmp_path / "file", START_US)
