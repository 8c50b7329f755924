"""Listens to a link for some seconds, through the scanner and the ride that the daemon uses."""

from collections.abc import Callable
from dataclasses import dataclass, field

from onboard.contract.figure import Unknown
from onboard.contract.snapshot import Snapshot
from onboard.errors import LinkEndedError, LinkError
from onboard.ride.ride import Ride
from onboard.telemetry.link.base import Link, Piece
from onboard.telemetry.link.link_scanner import LinkScanner

LOOK_EVERY_S = 0.2
"""Bytes are folded and figures read at this pace, as the daemon does."""


@dataclass
class Heard:
    """What was heard: snapshots as the feed gives them, and what no snapshot tells."""

    snapshots: list[Snapshot] = field(default_factory=list)
    seconds_s: float = 0.0
    received_bytes: int = 0
    record_bytes: int = 0
    """What the recorder would have written."""
    problem: str | None = None
    heard_at_us: int | None = None
    """When the last frame came [us since the Unix epoch]."""


def listen(
    link: Link,
    ride: Ride,
    seconds_s: float,
    clock_s: Callable[[], float],
    now_us: Callable[[], int],
) -> Heard:
    """Listen, and send nothing.

    Parameters
    ----------
    link
        The link, open.
    ride
        A ride that has taken in nothing yet.
    seconds_s
        For how long [s].
    clock_s
        A monotonic clock [s].
    now_us
        The clock for times of receipt [us since the Unix epoch].
    """
    heard, scanner = Heard(), LinkScanner()
    begin_s = clock_s()
    end_s, due_s = begin_s + seconds_s, begin_s + LOOK_EVERY_S
    pieces: list[Piece] = []

    def fold(now_s: float) -> None:
        frames = scanner.push(pieces)
        pieces.clear()
        heard.record_bytes += len(frames.records()) if len(frames) else 0
        if len(frames):
            heard.heard_at_us = int(frames.stamp_us[-1])
        ride.take(frames)
        ride.silence(now_us())
        heard.seconds_s = now_s - begin_s
        age_s = 0.0 if heard.heard_at_us is None else (now_us() - heard.heard_at_us) * 1e-6
        heard.snapshots.append(ride.snapshot(link.name, age_s))

    while (now_s := clock_s()) < end_s:
        try:
            parts = link.read(max(min(due_s, end_s) - now_s, 0.0))
        except LinkEndedError:
            break
        except LinkError as problem:
            heard.problem = str(problem)
            break
        heard.received_bytes += sum(len(part.data) for part in parts)
        pieces += (Piece(now_us(), *part) for part in parts)
        if clock_s() >= due_s:
            fold(clock_s())
            due_s = max(due_s + LOOK_EVERY_S, clock_s())
    fold(clock_s())
    # What still waits for a stamp counts, too.
    ride.finish()
    heard.snapshots.append(ride.snapshot(link.name, 0.0))
    return heard


def newest(ride: Ride, channel: str, column: str) -> float | None:
    """Return the newest reading of an instrument, None if it is unknown or not fresh."""
    value = ride.engine.latest.value((channel, column))
    return None if isinstance(value, Unknown) else value
