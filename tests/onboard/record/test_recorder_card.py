"""Whatever the card does, the live loop goes on, and each frame is recorded once or counted."""

import errno
import os
import threading
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from onboard.record import record_file, record_queue
from onboard.record import recorder as recorder_module
from onboard.record.card_trouble import CARD_TROUBLE
from onboard.record.recorder import Recorder
from onboard.telemetry.logs.log_files import RECORD_NAME
from tests.onboard.record.faulty_card import START_US, Card, Stream, spans
from tests.patience import PATIENCE_S, until
from tests.wire import words


@pytest.mark.parametrize("room", [0, 1, 36, 37, 100])
@pytest.mark.parametrize("cut_fails", [False, True])
def test_a_full_card_is_reported_and_recording_goes_on_when_there_is_room(
    tmp_path: Path, card: Card, room: int, cut_fails: bool, caplog
) -> None:
    recorder = Recorder(tmp_path, START_US)
    stream = Stream(recorder)
    stream.tick(8)
    before = recorder.recorded_bytes
    card.room, card.cut_fails = room, cut_fails
    stream.tick(5)
    folder = recorder.folder
    assert words(recorder.problem) == f"Recording stopped: no space left on the card ({folder})."
    size = 8 + len(stream.sent[0])
    assert recorder.recorded_bytes == before + room // size * size
    # A kill now leaves whole records, if the card allows truncation at all.
    if not cut_fails:
        assert (folder / RECORD_NAME).stat().st_size == recorder.recorded_bytes
    tries = card.appends
    stream.tick(20)  # 4 s: not yet
    assert card.appends == tries
    card.room, card.cut_fails = None, False
    stream.tick(10)
    assert recorder.problem is None
    recorder.close()
    assert spans(recorder.folder) == stream.sent
    assert recorder.lost_frames == 0
    logged = [entry.getMessage() for entry in caplog.records]
    assert len(logged) == 2
    assert "no space left" in logged[0]
    assert "recording goes on (0 frames lost so far)" in logged[1]


@pytest.mark.parametrize("number", [errno.EIO, errno.EROFS, errno.EDQUOT, errno.EFBIG])
def test_every_refusal_is_reported_in_words(tmp_path: Path, card: Card, number: int) -> None:
    recorder = Recorder(tmp_path, START_US)
    stream = Stream(recorder)
    card.room, card.write_error = 0, number
    stream.tick(5)
    assert recorder.problem is not None
    assert CARD_TROUBLE[number] in words(recorder.problem)
    card.room = None
    recorder.close()  # the last try, whenever the previous one was
    assert recorder.problem is None
    assert spans(recorder.folder) == stream.sent


def test_the_backlog_of_a_full_card_is_bounded_and_counted(
    tmp_path: Path, card: Card, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(record_queue, "QUEUE_MOST_BYTES", 10_000)
    recorder = Recorder(tmp_path, START_US)
    stream = Stream(recorder)
    stream.tick(5)
    written = recorder.recorded_bytes // (8 + len(stream.sent[0]))
    card.room = 0
    stream.tick(100)
    card.room = None
    stream.tick(30)
    recorder.close()
    kept = spans(recorder.folder)
    assert 0 < recorder.lost_frames == len(stream.sent) - len(kept)
    # Fifteen ticks are queued; the next try comes up to 25 ticks after there is room.
    assert recorder.lost_frames <= (100 + 25 - 15) * 3
    # The oldest are dropped: the record has the first frames, and all from some time on.
    assert kept == stream.sent[:written] + stream.sent[written + recorder.lost_frames :]


@pytest.mark.parametrize("closes", [True, False])
def test_a_sync_that_hangs_blocks_nobody(
    tmp_path: Path, card: Card, monkeypatch: pytest.MonkeyPatch, closes: bool, caplog
) -> None:
    monkeypatch.setattr(recorder_module, "CLOSE_WITHIN_S", 0.05)
    recorder = Recorder(tmp_path, START_US)
    stream = Stream(recorder)
    card.answers.clear()
    for _ in range(60):
        stream.tick(wait=False)
        assert recorder.wait_written(PATIENCE_S)
    until(lambda: card.syncs == 1)
    # The data are in the operating system; only a power cut would lose them.
    assert len(spans(recorder.folder)) >= len(stream.sent) - 4 * 3
    assert words(recorder.problem) == (
        f"Recording at risk: the card accepts nothing ({recorder.folder})."
    )
    if closes:
        recorder.close()
        assert "the end of the record may be lost" in caplog.text
    card.answers.set()
    recorder.close(PATIENCE_S)
    assert spans(recorder.folder) == stream.sent


def test_a_write_that_hangs_blocks_nobody_and_the_queue_stays_bounded(
    tmp_path: Path, card: Card, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(record_queue, "QUEUE_MOST_BYTES", 10_000)
    recorder = Recorder(tmp_path, START_US)
    stream = Stream(recorder)
    answers, pwrite = threading.Event(), os.pwrite

    def hang(descriptor: int, data, place: int) -> int:
        answers.wait(PATIENCE_S)
        return pwrite(descriptor, data, place)

    monkeypatch.setattr(os, "pwrite", hang)
    for _ in range(100):
        stream.tick(wait=False)
    assert words(recorder.problem) == (
        f"Recording stopped: the card does not answer ({recorder.folder})."
    )
    assert recorder.queue.size_bytes <= 10_000
    answers.set()
    assert recorder.wait_idle()
    stream.tick()
    assert recorder.problem is None
    recorder.close()
    assert len(spans(recorder.folder)) == len(stream.sent) - recorder.lost_frames
    assert recorder.lost_frames > 0


def test_a_sync_that_fails_is_reported_and_retried(tmp_path: Path, card: Card) -> None:
    recorder = Recorder(tmp_path, START_US)
    stream = Stream(recorder)
    card.sync_fails = True
    stream.tick(4)  # nothing is left to be appended
    assert words(recorder.problem) == (
        f"Recording at risk: the card reports an error ({recorder.folder})."
    )
    card.sync_fails = False
    stream.tick(30, count=0)
    assert recorder.problem is None
    recorder.close()
    assert spans(recorder.folder) == stream.sent


@pytest.mark.parametrize("where", ["joined", "behind"])
def test_an_unforeseen_fault_is_reported_and_retried_and_loses_nothing(
    tmp_path: Path, card: Card, monkeypatch: pytest.MonkeyPatch, where: str, caplog
) -> None:
    recorder = Recorder(tmp_path, START_US)
    stream = Stream(recorder)
    stream.tick(9)

    def fail(*_: object) -> None:
        raise ZeroDivisionError("what nobody foresaw")

    with monkeypatch.context() as patch:
        patch.setattr(record_file, where, fail)
        stream.tick(60)
        expected = f"Recording stopped: a program fault ({recorder.folder})."
        assert words(recorder.problem) == expected
    stream.tick(30)
    assert recorder.problem is None
    recorder.close()
    assert spans(recorder.folder) == stream.sent
    assert caplog.text.count("Traceback") == 1


def test_a_sync_with_an_unforeseen_fault_is_reported_and_retried(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    recorder = Recorder(tmp_path, START_US)
    stream = Stream(recorder)

    def fail(_: int) -> None:
        raise ZeroDivisionError

    with monkeypatch.context() as patch:
        patch.setattr(os, "fdatasync", fail)
        stream.tick(9)
        assert recorder.problem is not None
        assert words(recorder.problem).startswith("Recording at risk: a program fault")
    stream.tick(60)
    assert recorder.problem is None
    recorder.close()
    assert spans(recorder.folder) == stream.sent


def test_a_card_that_is_full_at_the_start_is_used_when_there_is_room(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", full)
        recorder = Recorder(tmp_path, START_US, "[craft]\n")
        assert recorder.problem is not None
        assert not any(one.is_dir() for one in tmp_path.iterdir())
        stream = Stream(recorder)
        stream.tick(30)
        assert recorder.problem is not None
    stream.tick(30)
    assert recorder.problem is None
    recorder.close()
    assert spans(recorder.folder) == stream.sent
    assert (recorder.folder / "profile.toml").exists()


def test_a_sidecar_that_cannot_be_written_yet_is_retried(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog
) -> None:
    recorder = Recorder(tmp_path, START_US)
    stream = Stream(recorder)
    (recorder.folder / "carried.json.new").mkdir()
    recorder.put_file("carried.json", "{}\n")
    stream.tick(70)  # tried three times
    assert recorder.problem is None  # the record itself is sound
    assert caplog.text.count("carried.json not written yet") == 1
    (recorder.folder / "carried.json.new").rmdir()
    stream.tick(30)
    assert (recorder.folder / "carried.json").read_text() == "{}\n"
    recorder.close()


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(
        st.tuples(
            st.integers(0, 4),
            st.none() | st.integers(0, 300),
            st.booleans(),
            st.sampled_from([errno.ENOSPC, errno.EIO]),
            st.integers(1, 30),
        ),
        max_size=6,
    )
)
@pytest.mark.slow
def test_whatever_the_card_does_each_frame_is_in_the_record_once_or_counted(
    tmp_path_factory, acts
) -> None:
    with pytest.MonkeyPatch.context() as patch:
        card = Card(patch)
        patch.setattr(record_queue, "QUEUE_MOST_BYTES", 20_000)
        recorder = Recorder(tmp_path_factory.mktemp("card"), START_US)
        stream = Stream(recorder)
        stream.tick(5)
        for count, room, cut_fails, number, ticks in acts:
            card.room, card.cut_fails, card.write_error = room, cut_fails, number
            stream.tick(ticks, count)
        card.room, card.cut_fails = None, False
        stream.tick(30)
        assert recorder.problem is None
        recorder.close()
    kept = spans(recorder.folder)
    assert len(kept) + recorder.lost_frames == len(stream.sent)
    there = set(kept)
    assert [frame for frame in stream.sent if frame in there] == kept


@pytest.mark.parametrize(("ticks", "most_bytes"), [(10, 1 << 20), (32, 20_000)])
def test_frames_during_a_write_that_hangs_then_fails_stay_in_order_and_bounded(
    tmp_path: Path, card: Card, monkeypatch: pytest.MonkeyPatch, ticks: int, most_bytes: int
) -> None:
    monkeypatch.setattr(record_queue, "QUEUE_MOST_BYTES", most_bytes)
    recorder = Recorder(tmp_path, START_US)
    stream = Stream(recorder)
    stream.tick(3)
    hangs, answers, pwrite = threading.Event(), threading.Event(), os.pwrite

    def hang(descriptor: int, data, place: int) -> int:
        hangs.set()
        answers.wait(PATIENCE_S)
        return pwrite(descriptor, data, place)

    with monkeypatch.context() as patch:
        patch.setattr(os, "pwrite", hang)
        stream.tick(wait=False)
        assert hangs.wait(PATIENCE_S)
        stream.tick(ticks, wait=False)
        card.room = 50
        answers.set()
        assert recorder.wait_idle()
    assert recorder.queue.size_bytes <= most_bytes
    card.room = None
    stream.tick(30)
    recorder.close()
    kept = spans(recorder.folder)
    there = set(kept)
    assert [frame for frame in stream.sent if frame in there] == kept
    assert recorder.lost_frames == len(stream.sent) - len(kept)
    assert bool(recorder.lost_frames) is (most_bytes == 20_000)
