"""Frames that carry their own number, so that frames missing from a record show."""

from pathlib import Path

from onboard.errors import LogError
from onboard.telemetry.logs.telemetry_log import read_log
from tests.faults.faulty_link import Chunk
from tests.small_streams import Sender

RATE_HZ = 100.0


def numbered(seconds: float) -> list[Chunk]:
    """Return frames whose number is the time since boot [ms]."""
    sender = Sender()
    count = round(seconds * RATE_HZ)
    return [Chunk(n / RATE_HZ, sender.attitude(n / 1000)) for n in range(count)]


def recorded(session: Path) -> tuple[int, int]:
    """Return the number of consecutive frames of `numbered` in a record, and of bad bytes."""
    frames, bad_bytes, sequence = 0, 0, []
    try:
        for part in read_log(session):
            frames += len(part)
            bad_bytes += part.bad_bytes
            sequence += part.sequence.tolist()
    except LogError:
        return 0, 0  # nothing was written yet
    assert sequence == [n % 256 for n in range(frames)]
    return frames, bad_bytes
