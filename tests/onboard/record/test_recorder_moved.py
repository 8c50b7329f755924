"""A removed, renamed or overwritten record and a missing card lose no frame."""

import errno
import os
from pathlib import Path

import pytest

from onboard.record import sessions
from onboard.record.recorder import Recorder
from onboard.telemetry.logs.log_files import RECORD_NAME
from tests.onboard.record.faulty_card import START_US, Card, Stream, spans
from tests.wire import words


def test_on_a_card_put_back_shorter_recording_continues_after_the_last_whole_record(
    tmp_path: Path, card: Card
) -> None:
    recorder = Recorder(tmp_path, START_US)
    stream = Stream(recorder)
    stream.tick(20)
    card.room, card.write_error = 0, errno.EIO
    stream.tick(5)
    size = 8 + len(stream.sent[0])
    os.truncate(recorder.folder / RECORD_NAME, 20 * size + 11)
    card.room = None
    recorded = recorder.recorded_bytes // size
    stream.tick(30)
    recorder.close()
    assert spans(recorder.folder) == stream.sent[:20] + stream.sent[recorded:]


def test_a_removed_record_is_started_again_with_its_sidecar_files(tmp_path: Path) -> None:
    recorder = Recorder(tmp_path, START_US, "[craft]\n")
    stream = Stream(recorder)
    recorder.note_utc("2026-05-02T09:10:11.0Z", START_US + 4)
    stream.tick(9)
    for path in recorder.folder.iterdir():
        path.unlink()
    recorder.folder.rmdir()
    gone = recorder.recorded_bytes // (8 + len(stream.sent[0]))
    stream.tick(35)
    assert recorder.problem is None
    recorder.close()
    assert spans(recorder.folder) == stream.sent[gone:]
    assert (recorder.folder / "profile.toml").read_text() == "[craft]\n"
    assert (recorder.folder / "clock.json").exists()
    assert sessions.read_session(recorder.folder) == sessions.SessionNote(1, closed=True)


def test_a_renamed_folder_of_all_sessions_is_still_written_to(
    tmp_path: Path,
) -> None:
    place, away = tmp_path / "card", tmp_path / "away"
    recorder = Recorder(place, START_US)
    stream = Stream(recorder)
    stream.tick(9)
    place.rename(away)
    stream.tick(60)
    assert words(recorder.problem) == (
        "Recording at risk: the file was renamed, and no other can be made: "
        f"no such file or directory ({recorder.folder})."
    )
    assert not place.exists()
    assert len(spans(away / recorder.folder.name)) == recorder.recorded_bytes // 36
    assert recorder.recorded_bytes // 36 >= 65 * 3
    away.rename(place)
    stream.tick(9)
    assert (recorder.problem, recorder.moved) == (None, None)
    recorder.close()
    assert spans(recorder.folder) == stream.sent


def test_an_overwritten_record_is_continued_in_another_file(tmp_path: Path) -> None:
    recorder = Recorder(tmp_path, START_US)
    stream = Stream(recorder)
    stream.tick(9)
    file = recorder.folder / RECORD_NAME
    recorded_bytes = recorder.recorded_bytes
    file.write_bytes(bytes(2 * recorded_bytes))  # the same file, and longer than before
    stream.tick(9)
    assert words(recorder.moved) == (
        f"The record {RECORD_NAME} was written over: recording goes on in telemetry-2.tlog."
    )
    recorder.close()
    assert file.read_bytes() == bytes(2 * recorded_bytes)
    file.unlink()
    assert spans(recorder.folder) == stream.sent[recorded_bytes // 36 :]


@pytest.mark.parametrize("put", [os.mkfifo, Path.mkdir, lambda path: path.symlink_to("/dev/full")])
def test_a_foreign_file_in_the_record_s_place_is_left_alone(
    tmp_path: Path, card: Card, put
) -> None:
    recorder = Recorder(tmp_path, START_US)
    stream = Stream(recorder)
    stream.tick(9)
    file = recorder.folder / RECORD_NAME
    card.room, card.write_error = 0, errno.EIO
    stream.tick(5)
    file.rename(tmp_path / "away.tlog")
    put(file)
    card.room = None
    stream.tick(30)
    assert recorder.problem is None
    recorder.close()
    assert spans(tmp_path / "away.tlog") + spans(recorder.folder) == stream.sent


def test_a_card_that_is_away_is_not_replaced_by_its_empty_mount_point(
    tmp_path: Path, card: Card
) -> None:
    place, away = tmp_path / "card", tmp_path / "away"
    recorder = Recorder(place, START_US)
    stream = Stream(recorder)
    stream.tick(9)
    card.room, card.write_error = 0, errno.EIO
    stream.tick(5)
    place.rename(away)
    card.room = None
    stream.tick(30)
    assert recorder.problem is not None
    assert not place.exists()
    away.rename(place)
    stream.tick(30)
    assert recorder.problem is None
    recorder.close()
    assert spans(recorder.folder) == stream.sent
