"""Frames held back for a fold: none is lost, and what fails costs only the newest readings."""

import numpy as np

from onboard.daemon.held_frames import HeldFrames
from onboard.record.subscriber import STRICT
from onboard.ride.newest import Newest
from onboard.ride.ride import Ride
from onboard.telemetry.link.base import Piece
from onboard.telemetry.link.link_scanner import LinkScanner
from onboard.telemetry.mavlink.frames import Frames, end_to_end
from tests.onboard.small_rides import PROFILE, START_US, received, second
from tests.small_streams import Sender


def with_junk() -> list[Frames]:
    scanner, sender = LinkScanner(), Sender()
    return [
        scanner.push([Piece(START_US + n * 1_000_000, b"junk" * n + second(n, sender))])
        for n in range(4)
    ]


def test_joined_frames_are_the_same_frames_with_their_junk_counted() -> None:
    parts = with_junk()
    whole = end_to_end(parts)
    assert whole.records() == b"".join(part.records() for part in parts)
    assert whole.bad_bytes == sum(part.bad_bytes for part in parts) > 0
    np.testing.assert_array_equal(
        whole.message_id, np.concatenate([part.message_id for part in parts])
    )


def test_all_that_was_held_is_taken_once() -> None:
    held, parts = HeldFrames(), with_junk()
    for part in parts:
        held.add([part], watched=False)
    assert held.count == sum(map(len, parts))
    (taken,) = held.take()
    assert taken.records() == b"".join(part.records() for part in parts)
    assert (held.count, held.take()) == (0, [])


def folded(held: HeldFrames, seconds: int) -> Ride:
    ride = Ride(PROFILE)
    for part in received(0, seconds):
        held.add([part], watched=True)
    parts = held.take()
    for part in parts:
        ride.take(part)
    held.folded(ride, parts, 0.0)
    return ride


def test_there_are_newest_readings_once_the_craft_is_known() -> None:
    held = HeldFrames()
    folded(held, 1)
    assert held.newest is None
    held = HeldFrames()
    folded(held, 20)
    assert held.newest is not None
    assert not held.take_came()
    held.add(received(20, 21), watched=True)
    assert held.take_came()
    assert not held.take_came()
    # Nobody watches: they are not read, and begin again with the next fold.
    held.add(received(21, 22), watched=False)
    assert held.newest is None


def test_newest_readings_that_fail_are_left_to_folds(monkeypatch) -> None:
    monkeypatch.setenv(STRICT, "0")
    held = HeldFrames()
    folded(held, 20)
    monkeypatch.setattr(Newest, "read", lambda *_: 1 / 0)
    held.add(received(20, 21), watched=True)
    assert held.newest is None
    assert held.faults.count == 1
    assert held.count
