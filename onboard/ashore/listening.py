"""Listen to a link for some seconds, through the scanner and ride that the daemon uses."""

from collections.abc import Callable
from dataclasses import field

from onboard.contract.figure import Unknown
from onboard.contract.snapshot import Snapshot
from onboard.dataclass import dataclass
from onboard.errors import LinkEndedError, LinkError
from onboard.ride.ride import Ride
from onboard.telemetry.link.base import Link, Piece
from onboard.telemetry.link.link_scanner import LinkScanner

FOLD_EVERY_S = 0.2
"""Interval between snapshots, the daemon's."""


@dataclass
class Reception:
    """Data received over a link: snapshots as on the feed, and facts beyond them."""

    snapshots: list[Snapshot] = field(default_factory=list)
    seconds_s: float = 0.0
    received_bytes: int = 0
    record_bytes: int = 0
    """Size of the record of it."""
    problem: str | None = None
    last_frame_us: int | None = None
    """Time of receipt of the last frame [us since the Unix epoch]."""


def listen(
    link: Link,
    ride: Ride,
    seconds_s: float,
    clock_s: Callable[[], float],
    now_us: Callable[[], int],
) -> Reception:
    """Receive from a link for a while; nothing is sent.

    Parameters
    ----------
    link
        An open link.
    ride
        A ride without data yet.
    seconds_s
        How long to listen [s].
    clock_s
        Monotonic clock [s].
    now_us
        Clock for times of receipt [us since the Unix epoch].
    """
    reception, scanner = Reception(), LinkScanner()
    begin_s = clock_s()
    end_s, due_s = begin_s + seconds_s, begin_s + FOLD_EVERY_S
    pieces: list[Piece] = []

    def fold(now_s: float) -> None:
        frames = scanner.push(pieces)
        pieces.clear()
        reception.record_bytes += len(frames.records()) if len(frames) else 0
        if len(frames):
            reception.last_frame_us = int(frames.stamp_us[-1])
        ride.take(frames)
        ride.silence(now_us())
        reception.seconds_s = now_s - begin_s
        age_s = (
            0.0 if reception.last_frame_us is None else (now_us() - reception.last_frame_us) * 1e-6
        )
        reception.snapshots.append(ride.snapshot(link.name, age_s))

    while (now_s := clock_s()) < end_s:
        try:
            parts = link.read(max(min(due_s, end_s) - now_s, 0.0))
        except LinkEndedError:
            break
        except LinkError as problem:
            reception.problem = str(problem)
            break
        reception.received_bytes += sum(len(part.data) for part in parts)
        pieces += (Piece(now_us(), *part) for part in parts)
        if clock_s() >= due_s:
            fold(clock_s())
            due_s = max(due_s + FOLD_EVERY_S, clock_s())
    fold(clock_s())
    # Messages that still wait for a stamp count, too.
    ride.finish()
    reception.snapshots.append(ride.snapshot(link.name, 0.0))
    return reception


def newest(ride: Ride, channel: str, column: str) -> float | None:
    """Return the newest reading of an instrument, None if unknown or stale."""
    value = ride.engine.latest.value((channel, column))
    return None if isinstance(value, Unknown) else value
