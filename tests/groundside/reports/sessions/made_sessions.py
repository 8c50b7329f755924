"""Small sessions as the daemon leaves them, and the command run on them."""

import json
import os
from collections.abc import Sequence
from pathlib import Path

from groundside.command_line import main
from onboard.contract.commands import Set
from onboard.record.marks import MarkBook, TimedCommand
from onboard.record.sessions import SessionNote, session_name, write_session
from tests.small_streams import Sender, records

START_US = 1_750_000_000_000_000
"""2025-06-15 15:06:40 UTC."""

STEP_US = 142_857
"""Seven messages per second."""

DAY_US = 86_400_000_000


def log_bytes(
    seconds: int = 60, amps: float = 10.0, speed: float = 2.0, start_us: int = START_US
) -> bytes:
    sender = Sender()
    frames = [frame for n in range(seconds) for frame in sender.second(n, 50.0, amps, speed)]
    return records(frames, start_us, STEP_US)


def session(
    directory: Path,
    start_us: int = START_US,
    *,
    named: Sequence[tuple[float, str]] = (),
    number: int = 1,
    closed: bool = True,
    continues: str | None = None,
    profile: str | None = None,
    **ride: float,
) -> Path:
    """Make a session's folder; `named` has set-ups with the second of their selection."""
    folder = directory / session_name(start_us)
    folder.mkdir(parents=True)
    (folder / "telemetry.tlog").write_bytes(log_bytes(start_us=start_us, **ride))
    write_session(folder, SessionNote(number, continues, closed))
    if profile is not None:
        (folder / "profile.toml").write_text(profile)
    book = MarkBook(folder)
    for second, setup in named:
        name_setup(book, start_us, second, setup)
    return folder


def name_setup(book: MarkBook, start_us: int, second: float, setup: str) -> None:
    stamp_us = start_us + round(second * 1e6)
    book.write(TimedCommand(second, stamp_us, None, Set(1, "setup", setup)))


def rested(path: Path, age_s: float = 3600.0) -> None:
    """Make a file look as if it had not been written to for a while."""
    moment_s = path.stat().st_mtime - age_s
    os.utime(path, (moment_s, moment_s))


def listed(capsys, directory: Path, *options: str) -> dict:
    """Return the output of `sessions --json`, which must print nothing on stderr."""
    assert main(["sessions", str(directory), "--json", *options]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    return json.loads(out)


def names(found: dict) -> list[str]:
    return [one["name"] for one in found["sessions"]]


def no_reading(monkeypatch) -> None:
    """Fail the test on any attempt to read a record."""

    def poison(*_: object, **__: object) -> None:
        raise AssertionError("a record was read")

    monkeypatch.setattr("groundside.reports.sessions.season.review_logs", poison)
    monkeypatch.setattr("groundside.reports.sessions.setup_shares.read_log", poison)
