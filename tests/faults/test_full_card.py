"""A full card: figures continue, an alert reports it, and recording resumes once there is room."""

import errno
import resource
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from onboard.telemetry.logs.log_files import RECORD_NAME
from onboard.telemetry.logs.telemetry_log import read_log
from tests.daemon_process import Daemon
from tests.faults.faulty_link import background, udp
from tests.faults.numbered_frames import RATE_HZ, numbered, recorded
from tests.newest import latest_session

pytestmark = pytest.mark.slow


class Card:
    """A directory that can be filled, and emptied again."""

    errno = errno.ENOSPC

    def __init__(self, directory: Path) -> None:
        self.directory = directory

    def fill(self, daemon: Daemon | None) -> None:
        with (self.directory / "filler").open("wb", buffering=0) as file:
            try:
                while True:
                    file.write(bytes(4096))
            except OSError:
                pass

    def make_room(self, daemon: Daemon | None) -> None:
        (self.directory / "filler").unlink()


class Limit(Card):
    """A limit on the process's file size, in place of a full card if none can be mounted."""

    errno = errno.EFBIG

    def fill(self, daemon: Daemon | None) -> None:
        assert daemon is not None
        session = latest_session(self.directory)
        assert session is not None
        # Within the next record, so that part of it is written.
        size = (session / RECORD_NAME).stat().st_size + 1000
        _, hard = resource.prlimit(daemon.process.pid, resource.RLIMIT_FSIZE)
        resource.prlimit(daemon.process.pid, resource.RLIMIT_FSIZE, (size, hard))

    def make_room(self, daemon: Daemon | None) -> None:
        assert daemon is not None
        _, hard = resource.prlimit(daemon.process.pid, resource.RLIMIT_FSIZE)
        resource.prlimit(daemon.process.pid, resource.RLIMIT_FSIZE, (hard, hard))


@contextmanager
def small_card(place: Path) -> Iterator[Card]:
    """Mount a file system of one megabyte; skip the test if that is impossible."""
    place.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(place)]
    try:
        done = subprocess.run(command, capture_output=True, text=True, check=False)
    except FileNotFoundError:
        pytest.skip("there is no mount command")
    if done.returncode:
        pytest.skip(f"nothing can be mounted here: {done.stderr.strip()}")
    try:
        yield Card(place)
    finally:
        subprocess.run(["umount", str(place)], check=True)


@contextmanager
def limited(place: Path) -> Iterator[Card]:
    if not hasattr(resource, "prlimit"):
        pytest.skip("this system has no prlimit")
    place.mkdir()
    yield Limit(place)


@contextmanager
def sent_whole(daemon: Daemon) -> Iterator[list[float]]:
    """Send until the block ends, then wait until the daemon has received everything."""
    with udp(daemon.port("link udpin")) as send:
        with background(numbered(300), send) as sent_s:
            yield sent_s
        daemon.snapshot_when(lambda snapshot: snapshot["link"]["messages"] >= len(sent_s))


def stopped(snapshot: dict) -> bool:
    return any(alert["code"] == "record_stopped" for alert in snapshot["alerts"])


@pytest.mark.parametrize("make", [small_card, limited])
def test_a_full_card_stops_the_record_only_while_it_is_full(tmp_path: Path, make) -> None:
    with make(tmp_path / "card") as card:
        daemon = Daemon("--link", "udpin:127.0.0.1:0", "--record", str(card.directory))
        with daemon, sent_whole(daemon) as sent_s:
            daemon.snapshot_when(lambda snapshot: snapshot["link"]["messages"] > 150)
            card.fill(daemon)

            full = daemon.snapshot_when(stopped)
            (alert,) = (one for one in full["alerts"] if one["code"] == "record_stopped")
            assert alert["errno"] == card.errno
            # The figures continue.
            count = full["link"]["messages"]
            daemon.snapshot_when(lambda one: one["link"]["messages"] > count + 1.5 * RATE_HZ)
            # A new trip would end the session with waiting frames.
            refused = daemon.send_command(kind="mark", mark="new_trip", text="")
            assert not refused["ok"]
            assert refused["why"]["code"] == "card_behind"
            room_s, cpu_wait_s = time.monotonic(), daemon.cpu_wait_s()
            card.make_room(daemon)
            daemon.snapshot_when(lambda snapshot: not stopped(snapshot))
            took_s = time.monotonic() - room_s
            assert took_s - (daemon.cpu_wait_s() - cpu_wait_s) < 7.0
            time.sleep(1.0)
        session = latest_session(card.directory)
        assert session is not None
        parts = list(read_log(session))
        assert sum(part.bad_bytes for part in parts) == 0
        kept = sum(map(len, parts))
        sequence = [number for part in parts for number in part.sequence.tolist()]
        # Frames that arrived meanwhile were queued and are recorded, each exactly once.
        assert sequence == [n % 256 for n in range(kept)]
        assert kept == len(sent_s)
        print(f"{kept} of {len(sent_s)} frames kept; went on {took_s:.1f} s after there was room")
        assert [path.name for path in session.glob("*.tlog")] == [RECORD_NAME]


def test_on_a_card_that_is_full_from_the_start_it_runs_and_records_later(tmp_path: Path) -> None:
    with small_card(tmp_path / "card") as card:
        card.fill(None)
        daemon = Daemon("--link", "udpin:127.0.0.1:0", "--record", str(card.directory))
        with daemon, sent_whole(daemon) as sent_s:
            daemon.snapshot_when(
                lambda snapshot: stopped(snapshot) and snapshot["link"]["messages"] > 100
            )
            assert latest_session(card.directory) is None
            card.make_room(None)
            daemon.snapshot_when(lambda snapshot: not stopped(snapshot))
        session = latest_session(card.directory)
        assert session is not None
        kept, bad_bytes = recorded(session)
        assert bad_bytes == 0
        assert kept == len(sent_s)
        print(f"{kept} of {len(sent_s)} frames kept")
