"""A record that is removed or damaged: an alert reports it, and recording goes on beside it."""

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from onboard.telemetry.logs.log_files import record_name
from onboard.telemetry.logs.telemetry_log import read_log
from tests.daemon_process import Daemon
from tests.faults.faulty_link import background, udp
from tests.faults.numbered_frames import RATE_HZ, numbered
from tests.newest import latest_session

pytestmark = pytest.mark.slow

FRAME_BYTES = 8 + 28
"""Size of a frame of `numbered`, with the stamp [bytes]."""


def numbers(log: Path) -> list[int]:
    """Return the numbers of `numbered` in a log: the time since boot of each ATTITUDE [ms]."""
    found: list[int] = []
    for part in read_log(log):
        for marker in part.marker.tolist():
            found.append(int.from_bytes(part.data[marker + 10 : marker + 14].tobytes(), "little"))
    return found


def rename(file: Path, away: Path) -> None:
    file.rename(away)


def remove(file: Path, away: Path) -> None:
    os.link(file, away)
    file.unlink()


def put_a_pipe(file: Path, away: Path) -> None:
    file.rename(away)
    os.mkfifo(file)


def put_a_folder(file: Path, away: Path) -> None:
    file.rename(away)
    file.mkdir()


def put_a_link(file: Path, away: Path) -> None:
    file.rename(away)
    file.symlink_to("/dev/full")


def moved_to(name: str) -> Callable[[dict], bool]:
    def reported(snapshot: dict) -> bool:
        moved = [one["path"] for one in snapshot["alerts"] if one["code"] == "record_moved"]
        return name in moved

    return reported


def test_a_record_taken_away_costs_nothing_else(tmp_path: Path) -> None:
    acts = [rename, put_a_pipe, put_a_folder, put_a_link, remove]
    record, gone = tmp_path / "records", tmp_path / "gone"
    gone.mkdir()
    daemon = Daemon("--link", "udpin:127.0.0.1:0", "--record", str(record))
    with (
        daemon,
        udp(daemon.port("link udpin")) as send,
        background(numbered(120), send) as sent_s,
    ):
        session = latest_session(record)
        assert session is not None
        for number, act in enumerate(acts, 1):
            file = session / record_name(number)
            daemon.snapshot_when(lambda _, file=file: file.stat().st_size > 0)
            act(file, gone / f"{number}.tlog")
            moved = daemon.snapshot_when(moved_to(record_name(number + 1)))
            assert not [one for one in moved["alerts"] if one["code"] == "record_stopped"]
        # The last one is cut within a record.
        cut = session / record_name(len(acts) + 1)
        daemon.snapshot_when(lambda _: cut.stat().st_size > 40 * FRAME_BYTES)
        whole_frames = cut.stat().st_size // FRAME_BYTES // 2
        os.truncate(cut, whole_frames * FRAME_BYTES + 11)
        moved = daemon.snapshot_when(moved_to(record_name(len(acts) + 2)))
        daemon.snapshot_when(lambda one: one["link"]["messages"] > moved["link"]["messages"] + 40)
    kept = [n for place in sorted(gone.iterdir()) for n in numbers(place)]
    # `read_log` of the folder reads the rest of the cut file, and the next; a pipe, a folder and a
    # link that lead to no file are skipped.
    begins = len(kept)
    kept += numbers(session)
    cut_at = begins + whole_frames
    assert kept[:cut_at] == list(range(cut_at))
    rest = kept[cut_at:]
    assert rest == list(range(rest[0], rest[0] + len(rest)))
    assert rest[0] > cut_at
    assert len(sent_s) - rest[-1] <= 0.3 * RATE_HZ + 1  # in transit when the daemon ended
    for name in ("renamed", "replaced", "cut short"):
        assert f" was {name}: recording goes on in " in daemon.stderr


def test_a_renamed_session_folder_is_created_again_even_on_a_silent_link(
    tmp_path: Path,
) -> None:
    daemon = Daemon("--link", "udpin:127.0.0.1:0", "--record", str(tmp_path / "records"))
    with daemon, udp(daemon.port("link udpin")) as send:
        for chunk in numbered(0.5):
            send(chunk.data)
        session = latest_session(tmp_path / "records")
        assert session is not None
        file = session / record_name(1)
        daemon.snapshot_when(lambda _: file.stat().st_size == 50 * FRAME_BYTES)
        session.rename(tmp_path / "elsewhere")
        daemon.snapshot_when(moved_to(record_name(1)))
        for chunk in numbered(0.2):
            send(chunk.data)
        daemon.snapshot_when(lambda one: one["link"]["messages"] == 70)
    assert numbers(tmp_path / "elsewhere") == list(range(50))
    assert numbers(session) == list(range(20))
    assert {path.name for path in session.iterdir()} >= {"session.json", "carried.json"}
