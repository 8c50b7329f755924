"""Recorded frames are read back as received, byte for byte."""

import json
import stat
from pathlib import Path

import pytest

from onboard.errors import UsageError
from onboard.record import sessions
from onboard.record.recorder import Recorder
from onboard.telemetry.link.link_scanner import LinkScanner
from onboard.telemetry.logs.log_files import RECORD_NAME
from onboard.telemetry.logs.telemetry_log import read_log
from tests.newest import latest_session
from tests.onboard.record.faulty_card import START_US, Card, Stream, spans
from tests.small_streams import Sender

# The signed HEARTBEAT of the Rust MAVLink library's signing test (public repository).
HEARTBEAT_SIGNED = bytes.fromhex(
    "fd090100ef0102000000050000000203590303c98b00ffffffffffff2718b168ccf5"
)


def test_frames_are_written_unaltered_and_bad_bytes_are_not(tmp_path: Path) -> None:
    sender, scanner = Sender(), LinkScanner()
    recorder = Recorder(tmp_path, START_US, "[craft]\n")
    sent: list[bytes] = []
    unknown = bytes.fromhex("fd0100000001013be20077abcd")  # id 57915: an unknown message
    for n in range(30):
        frames = [sender.attitude(n), unknown, *sender.second(n, 50, 10, 2), HEARTBEAT_SIGNED]
        sent += frames
        stamp_us = START_US + 1_000_001 * n
        recorder.write(scanner.push([(stamp_us, b"".join(frames))]), stamp_us)
    junk = scanner.push([(START_US + 31_000_000, b"\x00garbage\x01" + sender.heartbeat())])
    recorder.write(junk, START_US + 31_000_000)
    recorder.close()
    data = (recorder.folder / RECORD_NAME).read_bytes()
    assert b"garbage" not in data
    assert spans(recorder.folder)[: len(sent)] == sent
    assert recorder.recorded_bytes == len(data)
    assert (recorder.lost_frames, recorder.problem) == (0, None)
    stamps = [stamp for part in read_log(recorder.folder) for stamp in part.stamp_us.tolist()]
    assert all(stamp & 3 == 0 for stamp in stamps)
    assert stamps == sorted(stamps)
    assert (recorder.folder / "profile.toml").read_text() == "[craft]\n"


def test_frames_a_second_old_have_left_the_process(tmp_path: Path, card: Card) -> None:
    recorder = Recorder(tmp_path, START_US)
    stream = Stream(recorder)
    written = []
    for _ in range(50):
        stream.tick()
        # Not closed: the file is as a kill would leave it.
        written.append((recorder.folder / RECORD_NAME).stat().st_size // (8 + len(stream.sent[0])))
        assert len(stream.sent) - written[-1] <= 4 * 3  # four ticks: written with the next one
    assert card.appends <= 13  # 50 ticks are 10 s
    assert 6 <= card.syncs <= 8
    recorder.close()
    assert spans(recorder.folder) == stream.sent


def test_nothing_is_written_while_nothing_arrives(tmp_path: Path, card: Card) -> None:
    recorder = Recorder(tmp_path, START_US)
    stream = Stream(recorder)
    stream.tick(4)
    assert (card.appends, card.syncs) == (1, 1)
    stream.tick(4)
    assert (card.appends, card.syncs) == (2, 1)
    # The last append is synced although nothing follows.
    stream.tick(4, count=0)
    assert (card.appends, card.syncs) == (2, 2)
    stream.tick(100, count=0)
    assert (card.appends, card.syncs) == (2, 2)
    recorder.close()


def test_a_record_cut_anywhere_gives_every_whole_frame(tmp_path: Path) -> None:
    recorder = Recorder(tmp_path, START_US)
    stream = Stream(recorder)
    stream.tick(5)
    recorder.close()
    record = recorder.folder / RECORD_NAME
    data, size = record.read_bytes(), 8 + len(stream.sent[0])
    assert len(data) == 15 * size
    for cut in range(size, len(data)):
        record.write_bytes(data[:cut])
        found = [part for part in read_log(recorder.folder) if len(part)]
        assert sum(map(len, found)) == cut // size


def test_only_the_owner_may_read(tmp_path: Path) -> None:
    recorder = Recorder(tmp_path / "all", START_US, "[craft]\n")
    recorder.note_utc("2026-05-02T09:10:11.0Z", START_US + 4)
    Stream(recorder).tick(5)
    recorder.close()
    assert stat.S_IMODE(recorder.folder.stat().st_mode) == 0o700
    names = {path.name: stat.S_IMODE(path.stat().st_mode) for path in recorder.folder.iterdir()}
    assert names == dict.fromkeys(
        ["clock.json", "profile.toml", sessions.FILE_NAME, RECORD_NAME], 0o600
    )


def test_utc_is_noted_once_beside_the_record(tmp_path: Path) -> None:
    recorder = Recorder(tmp_path, START_US)
    recorder.note_utc("2026-05-02T09:10:11.0Z", START_US + 4)
    recorder.note_utc("2026-05-02T09:10:12.0Z", START_US + 8)
    recorder.close()
    note = json.loads((recorder.folder / "clock.json").read_text())
    assert note == {"stamp_us": START_US + 4, "utc": "2026-05-02T09:10:11.0Z"}


def test_a_session_s_note_says_what_it_continues_and_that_it_ended(tmp_path: Path) -> None:
    first = Recorder(tmp_path, START_US)
    assert sessions.read_session(first.folder) == sessions.SessionNote(1)
    first.close()
    assert sessions.read_session(first.folder) == sessions.SessionNote(1, closed=True)
    second = Recorder(tmp_path, START_US - 10**15)
    second.put("continues", lambda folder: sessions.note_continues(folder, first.folder.name))
    second.close()
    note = sessions.read_session(second.folder)
    assert note == sessions.SessionNote(2, first.folder.name, True)
    assert latest_session(tmp_path) == second.folder


def test_two_sessions_in_one_second_keep_apart(tmp_path: Path) -> None:
    first, second = Recorder(tmp_path, START_US), Recorder(tmp_path, START_US)
    assert first.folder != second.folder
    first.close()
    second.close()


def test_a_folder_that_cannot_be_created_is_reported(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(UsageError, match="--record"):
        Recorder(tmp_path / "file", START_US)


def test_a_flush_writes_everything_at_once(tmp_path: Path) -> None:
    recorder = Recorder(tmp_path, START_US)
    stream = Stream(recorder)
    stream.tick(6, wait=False)
    assert recorder.flush()
    assert spans(recorder.folder) == stream.sent
    recorder.close()
