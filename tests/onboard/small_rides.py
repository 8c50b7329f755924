"""Seconds of telemetry as frames, and sessions made of them, for fast tests."""

from concurrent.futures import Future
from pathlib import Path

from onboard.profile import parse_profile
from onboard.record.sessions import begin_session
from onboard.restarts.refold import Session
from onboard.restarts.trip_sessions import Past
from onboard.telemetry.link.base import Piece
from onboard.telemetry.link.link_scanner import LinkScanner
from onboard.telemetry.logs.log_files import RECORD_NAME
from onboard.telemetry.mavlink.frames import Frames
from onboard.telemetry.mavlink.log_scanner import LogScanner
from tests.small_streams import Sender, records

PACK = "[battery]\nchemistry = 'li-ion'\ncells = 14\nenergy_wh = 1000\n"
PROFILE = parse_profile(PACK)
OTHER = parse_profile(f"[craft]\nname = 'other'\n{PACK}")

START_US = 1_750_000_000_000_000
A_SECOND = 8
"""Messages per second."""


def second(n: int, sender: Sender) -> bytes:
    """Return the bytes of one second; at second 0 the autopilot has been running for 300 s."""
    stated = [*sender.second(300.0 + n, 50.0, 6.0, 1.8), sender.time_of_day(1.75e9 + n, 300.0 + n)]
    return b"".join(stated)


def received(begin: int, end: int, sender: Sender | None = None) -> list[Frames]:
    """Return seconds of telemetry, one part each."""
    scanner, sender = LinkScanner(), sender or Sender()
    return [
        scanner.push([Piece(START_US + n * 1_000_000, second(n, sender))])
        for n in range(begin, end)
    ]


def learned() -> Frames:
    """Return five minutes at four speeds, enough to learn a curve."""
    sender, frames = Sender(), []
    for n in range(300):
        speed = 1.0 + n // 40 % 4
        frames += sender.second(300.0 + n, 50.0, 1.0 + 0.5 * speed**3, speed)
    return LogScanner().push(records(frames, START_US, 1_000_000 // 7), final=True)


def session(directory: Path, parts: list[Frames], *, anew: bool = False) -> Session:
    """Return a session with these frames in its record."""
    folder = begin_session(directory, int(parts[0].stamp_us[0]), anew=anew)
    (folder / RECORD_NAME).write_bytes(b"".join(part.records() for part in parts))
    return Session(folder)


def done(past: Past) -> "Future[Past]":
    """Return a completed look back."""
    future: Future[Past] = Future()
    future.set_result(past)
    return future
