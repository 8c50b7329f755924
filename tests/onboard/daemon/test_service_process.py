"""The daemon as a process: the same stream over UDP, a pty and a file gives the same trip."""

import os
import socket
import subprocess
import sys
import threading
import tty
from pathlib import Path

import pytest

from groundside.reports.review.summary import review
from onboard.contract.codec import plain
from onboard.profile import Profile
from onboard.telemetry.logs.log_files import RECORD_NAME
from onboard.telemetry.logs.telemetry_log import read_log
from tests.daemon_process import ROOT, Daemon
from tests.patience import PATIENCE_S
from tests.small_streams import Sender, records
from tests.udp_queue import Outlet

pytestmark = pytest.mark.slow

START_US = 1_750_000_000_000_000


def ride() -> list[bytes]:
    """Return four minutes at varying power and speed, with lost messages and a lost fix."""
    sender = Sender()
    frames = []
    for n in range(240):
        watts = 200 + 150 * (n // 20 % 3)
        frames += sender.second(100 + n, 50 - watts / 500, watts / 50, 1.5 + 0.4 * (n // 20 % 3))
    kept = [frame for n, frame in enumerate(frames) if n % 97 and not 800 < n < 860]
    # End with a stamp: messages after it would be timed by receipt, that is by the test's own pace.
    return [*kept, sender.attitude(340.0)]


def expected(tmp_path: Path, frames: list[bytes]) -> dict:
    path = tmp_path / "ride.tlog"
    path.write_bytes(records(frames, START_US, 1_000_000 // 7))
    return plain(review(path, Profile()).trip)


def assert_same_trip(trip: dict, reference: dict) -> None:
    for key in ("energy_wh", "distance_m", "wh_per_km"):
        assert trip[key]["value"] == pytest.approx(reference[key]["value"], rel=1e-3), key
    for key in ("charge_ah", "moving_s", "elapsed_s", "mean_power_w", "max_speed_mps"):
        assert trip[key] == pytest.approx(reference[key], rel=1e-3), key


def received_all(frames: list[bytes]):
    """Return a condition: all frames have arrived, and none still waits for a stamp."""
    return lambda snapshot: (
        snapshot["link"]["messages"] >= len(frames) and snapshot["link"]["age_s"] > 3.5
    )


def test_udp_gives_the_trip_of_the_file_and_records_it(tmp_path: Path) -> None:
    frames = ride()
    reference = expected(tmp_path, frames)
    options = ("--link", "udpin:127.0.0.1:0", "--record", str(tmp_path / "sessions"))
    with Daemon(*options) as daemon, Outlet(daemon.port("link udpin")) as outlet:
        for frame in frames:
            outlet.send(frame)
        snapshot = daemon.snapshot_when(received_all(frames))
    assert snapshot["link"]["bad_bytes"] == 0
    assert_same_trip(snapshot["trip"], reference)
    assert "may be lost" not in daemon.stderr
    (session,) = (path for path in (tmp_path / "sessions").iterdir() if path.is_dir())
    recorded = (session / RECORD_NAME).read_bytes()
    assert len(recorded) == sum(8 + len(frame) for frame in frames)
    assert_same_trip(plain(review(session, Profile()).trip), reference)


def test_a_pty_with_garbage_gives_the_trip_of_the_file(tmp_path: Path) -> None:
    frames = ride()
    reference = expected(tmp_path, frames)
    ours, theirs = os.openpty()
    tty.setraw(theirs)
    options = ("--link", os.ttyname(theirs), "--baud", "115200", "--no-record")
    with Daemon(*options) as daemon:
        stream = b"".join(
            frame + (b"\xfdnoise" * 3 if n % 50 == 9 else b"") for n, frame in enumerate(frames)
        )

        def write() -> None:
            at = 0
            while at < len(stream):
                at += os.write(ours, stream[at : at + 511])

        writer = threading.Thread(target=write)
        writer.start()
        snapshot = daemon.snapshot_when(received_all(frames))
        writer.join()
    os.close(ours)
    os.close(theirs)
    assert snapshot["link"]["bad_bytes"] == 18 * len(range(9, len(frames), 50))
    assert_same_trip(snapshot["trip"], reference)


def test_a_file_link_plays_in_its_own_time(tmp_path: Path) -> None:
    sender = Sender()
    frames = [frame for n in range(20) for frame in sender.second(n, 50, 8, 2)]
    path = tmp_path / "short.tlog"
    path.write_bytes(records(frames, START_US, 10_000))  # 20 s of stream within 1.4 s
    with Daemon("--link", f"file:{path}") as daemon:
        snapshot = daemon.snapshot_when(received_all(frames))
        assert not any("record" in line for line in daemon.stdout)
    assert snapshot["trip"]["energy_wh"]["value"] == pytest.approx(400 * 19.3 / 3600, rel=0.03)


def test_every_frame_received_before_the_end_is_on_disk(tmp_path: Path) -> None:
    sender = Sender()
    options = ("--link", "udpin:127.0.0.1:0", "--record", str(tmp_path))
    with Daemon(*options) as daemon, socket.socket(type=socket.SOCK_DGRAM) as outlet:
        for n in range(20):
            outlet.sendto(sender.attitude(n + 1), ("127.0.0.1", daemon.port("link udpin")))
        daemon.snapshot_when(lambda snapshot: snapshot["link"]["messages"] == 20)
    (session,) = (path for path in tmp_path.iterdir() if path.is_dir())
    assert sum(map(len, read_log(session))) == 20


def run(*options: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "onboard", *options],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
        check=False,
    )


@pytest.mark.parametrize(
    ("options", "text"),
    [
        (("--link", "/dev/no-such-port"), "no such serial device"),
        (("--link", "file:/no/such/log"), "no such file"),
        (("--link", "pigeon"), "expected udpin:HOST:PORT"),
        (("--link", "udpin:0.0.0.0:" + "1" * 5000), "expected udpin:HOST:PORT"),
        (("--link", f"file:{ROOT / 'README.md'}"), "no MAVLink frame in it"),
        (("--link", "udpin:127.0.0.1:0", "--listen", "a..b:1"), "first run wattwake-onboard pair"),
        (("--system-id", "999"), "expected a whole number from 1 to 255"),
        (("--listen", "nowhere"), "expected HOST:PORT"),
        (("--profile", "/no/such/profile"), "cannot be read"),
        (("--baud", "fast"), "expected a whole number from 1200 to 4000000"),
        (("--baud", "9" * 30), "expected a whole number from 1200 to 4000000"),
        (("--no-such-option",), "unrecognized arguments"),
        (("fly",), "invalid choice"),
    ],
)
def test_bad_input_is_one_line_and_exit_code_2(options: tuple[str, ...], text: str) -> None:
    result = run("--no-record", *options) if options[0] not in ("fly",) else run(*options)
    assert result.returncode == 2
    assert text in result.stderr
    assert result.stderr.count("\n") == 1, result.stderr


def test_a_port_in_use_is_one_line_and_exit_code_2() -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        listen = f"127.0.0.1:{taken.getsockname()[1]}"
        result = run("--no-record", "--link", "udpin:127.0.0.1:0", "--listen", listen)
    assert (result.returncode, result.stderr.count("\n")) == (2, 1)
    assert "already in use" in result.stderr
