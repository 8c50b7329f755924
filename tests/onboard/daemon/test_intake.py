"""Intake: record first, in either thread, within bounds."""

import threading

import numpy as np
import pymavlink.dialects.v20.all as dialect
import pytest

from onboard.daemon import intake as intake_module
from onboard.daemon.intake import Intake
from onboard.record.subscriber import STRICT
from onboard.telemetry.link.base import Piece, Source
from onboard.telemetry.mavlink.signing import SignatureGate
from tests.small_streams import Sender


class Reader:
    """A link reader with prepared bytes."""

    def __init__(self) -> None:
        self.pieces: list[Piece] = []
        self.answered: Source | None = None

    def give(self, *frames: bytes, source: Source | None = None, at_s: float = 0.0) -> None:
        begin_us = round(at_s * 1e6)
        self.pieces += [Piece(begin_us + 4 * n, frame, source) for n, frame in enumerate(frames)]

    def answer(self, source: Source | None) -> None:
        self.answered = source

    def take(self) -> list[Piece]:
        pieces, self.pieces = self.pieces, []
        return pieces


class Record:
    """Collects what is written; may fail."""

    def __init__(self) -> None:
        self.data, self.fails = b"", False

    def write(self, frames, now_us: int) -> None:
        if self.fails:
            raise RuntimeError("unforeseen")
        self.data += frames.records()


def made() -> tuple[Intake, Reader, Record]:
    reader, record = Reader(), Record()
    return Intake(reader, SignatureGate(None), lambda: 0), reader, record  # type: ignore[arg-type]


def beats(count: int) -> list[bytes]:
    sender = Sender()
    return [sender.heartbeat() for _ in range(count)]


def counted(parts) -> int:
    return sum(map(len, parts))


def test_frames_from_before_the_record_are_recorded_too() -> None:
    intake, reader, record = made()
    frames = beats(3)
    reader.give(*frames)
    assert counted(intake.turn()) == 3
    intake.record_to(record.write)
    reader.give(*beats(1))
    intake.advance()
    assert [frame in record.data for frame in frames] == [True] * 3
    assert len(record.data) == 4 * (8 + len(frames[0]))


@pytest.mark.parametrize(
    ("bound", "rounds", "turns", "fell_behind"),
    [
        ("TURN_MOST_FRAMES", 7, [8, 8, 8, 4], False),
        # Frames beyond the figures' queue are on the card, and the figures are notified.
        ("QUEUED_MOST_FRAMES", 5, [8], True),
    ],
)
def test_a_late_loop_finds_everything_recorded_and_a_bounded_queue(
    monkeypatch: pytest.MonkeyPatch, bound: str, rounds: int, turns: list[int], fell_behind: bool
) -> None:
    monkeypatch.setattr(intake_module, bound, 10)
    intake, reader, record = made()
    intake.record_to(record.write)
    for _ in range(rounds):
        reader.give(*beats(4))
        intake.advance()
    assert len(record.data) == 4 * rounds * (8 + len(beats(1)[0]))
    assert intake.fell_behind is fell_behind
    taken = []
    while parts := intake.turn():
        taken.append(counted(parts))
    assert taken == turns


def test_a_fault_of_the_recorder_does_not_affect_the_figures(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv(STRICT, "0")
    intake, reader, record = made()
    intake.record_to(record.write)
    record.fails = True
    reader.give(*beats(2))
    assert counted(intake.turn()) == 2
    assert intake.record_faults.count == 1
    record.fails = False
    reader.give(*beats(1))
    intake.turn()
    # The frames it failed on are recorded, too, and in order.
    assert len(record.data) == 3 * (8 + len(beats(1)[0]))


def test_a_fault_of_the_scanner_costs_the_present_bytes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(STRICT, "0")
    intake, reader, record = made()
    intake.record_to(record.write)
    reader.give(*beats(2))
    with monkeypatch.context() as broken:
        broken.setattr(intake_module.LinkScanner, "push", _fails)
        assert counted(intake.turn()) == 0
    reader.give(*beats(2))
    assert counted(intake.turn()) == 2
    assert intake.scan_faults.count == 2


def test_a_passing_fault_of_the_scanner_costs_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(STRICT, "0")
    intake, reader, record = made()
    intake.record_to(record.write)
    reader.give(*beats(2))
    faults = [MemoryError()]

    def push(scanner, *given):
        if faults:
            raise faults.pop()
        return _push(scanner, *given)

    monkeypatch.setattr(intake_module.LinkScanner, "push", push)
    assert counted(intake.turn()) == 2
    assert intake.scan_faults.count == 1


def _fails(*_):
    raise RuntimeError("unforeseen")


_push = intake_module.LinkScanner.push


def test_if_strict_a_fault_in_the_thread_is_raised_in_the_loop() -> None:
    intake, reader, record = made()
    intake.record_to(record.write)
    record.fails = True
    reader.give(*beats(2))
    thread = threading.Thread(target=intake.advance)
    thread.start()
    thread.join()
    with pytest.raises(RuntimeError, match="unforeseen"):
        intake.turn()


def test_frames_among_junk_are_repacked() -> None:
    intake, reader, _ = made()
    frames = beats(3)
    reader.give(bytes(50_000) + frames[0], bytes(50_000) + frames[1] + frames[2])
    (part,) = intake.turn()
    assert part.data.size < 1000
    assert part.bad_bytes == 100_000
    assert part.sequence.tolist() == [0, 1, 2]
    assert part.records() == b"".join(
        int(stamp).to_bytes(8, "big") + frame
        for stamp, frame in zip(np.array([0, 4, 4]), frames, strict=True)
    )


def test_the_followed_craft_is_answered_at_its_last_address() -> None:
    intake, reader, _ = made()
    here, there, stranger = ("192.0.2.1", 1), ("192.0.2.2", 2), ("192.0.2.3", 3)
    reader.give(*beats(1), source=here)
    intake.turn()
    assert reader.answered is None
    intake.followed = 1, 1
    reader.give(*beats(1), source=here)
    reader.give(Sender(system=9).heartbeat(), b"junk" * 50, source=stranger)
    intake.turn()
    assert reader.answered == here
    # One frame that looks like the craft's changes nothing; nor do many, while it is received.
    for second in range(1, 5):
        reader.give(*beats(2), source=here, at_s=second)
        reader.give(*beats(1), source=stranger, at_s=second + 0.1)
        intake.turn()
        assert reader.answered == here
    reader.give(*beats(1), source=there, at_s=6.0)
    intake.turn()
    assert reader.answered == here
    reader.give(*beats(1), source=there, at_s=7.0)
    intake.turn()
    assert reader.answered == here
    # The craft itself, from another port, sends more frames.
    reader.give(*beats(3), source=there, at_s=8.0)
    intake.turn()
    assert reader.answered == there


def test_a_stranger_flooding_right_after_the_craft_is_not_answered() -> None:
    intake, reader, _ = made()
    here, stranger = ("192.0.2.1", 1), ("192.0.2.3", 3)
    intake.followed = 1, 1
    reader.give(*beats(1), source=here)
    intake.turn()
    assert reader.answered == here
    for tenth in range(1, 20):
        reader.give(*beats(3), source=stranger, at_s=0.1 * tenth)
        intake.turn()
        assert reader.answered == here


@pytest.mark.parametrize("early", [True, False])
def test_a_message_with_a_signing_key_is_not_recorded(early: bool) -> None:
    intake, reader, record = made()
    sender, key = Sender(), bytes(range(1, 33))
    others = sender.heartbeat(), sender.heartbeat()
    carries = sender.pack(dialect.MAVLink_setup_signing_message(1, 1, list(key), 0))
    assert key in carries
    if not early:
        intake.record_to(record.write)
    reader.give(others[0], carries, others[1])
    assert counted(intake.turn()) == 3
    if early:
        intake.record_to(record.write)
    assert key not in record.data
    assert all(other in record.data for other in others)
    assert len(record.data) == sum(8 + len(other) for other in others)
