"""However often the daemon restarts, the trip continues while the autopilot keeps running.

WATTWAKE_RESTARTS=40 python -m pytest tests/faults/test_restarts.py -s
"""

import os
import random
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from groundside.reports.review.summary import review
from onboard.contract.codec import plain
from onboard.efficiency.advice.adviser import NO_AIM
from onboard.profile import load_profile
from onboard.record.sessions import sessions
from onboard.telemetry.logs.log_files import RECORD_NAME
from tests.daemon_process import ROOT, Daemon
from tests.free_port import free_port
from tests.small_streams import Sender

pytestmark = pytest.mark.slow

CRAFT = ROOT / "replay_logs" / "harbour_loop.toml"
RESTARTS = max(int(os.environ.get("WATTWAKE_RESTARTS", "4")), 1)
TICK_S = 0.1
RECORDED_S = 2.0
"""Run time after which a killed daemon has something on the card [s]: it may lose a second."""
UTC_S = 1_790_000_000.0


class Autopilot:
    """Sends telemetry to a UDP port until the block ends, whether a daemon is up or not.

    Its boot clock runs on regardless of the daemon; `restart` sets it back. While `silent`, it
    keeps sending, but nothing arrives.
    """

    def __init__(self, boot_s: float = 500.0, tells_utc: bool = True) -> None:
        self.port = free_port(socket.SOCK_DGRAM)
        self.silent = False
        self.tells_utc = tells_utc
        self._began_s = time.monotonic() - boot_s
        self._sender = Sender()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run)

    @property
    def boot_s(self) -> float:
        return time.monotonic() - self._began_s

    def restart(self, boot_s: float = 3.0) -> None:
        self._began_s = time.monotonic() - boot_s

    def _run(self) -> None:
        with socket.socket(type=socket.SOCK_DGRAM) as outlet:
            for n in range(1 << 30):
                if self._stop.is_set():
                    return
                frames = self._frames(n)
                if not self.silent:
                    for frame in frames:
                        outlet.sendto(frame, ("127.0.0.1", self.port))
                time.sleep(TICK_S)

    def _frames(self, n: int) -> Iterator[bytes] | list[bytes]:
        sender, boot_s = self._sender, self.boot_s
        power = 20.0 + 5.0 * (n % 7)
        frames = [sender.sys_status(50.0, power), sender.gps(3.0 + 0.1 * (n % 5))]
        if n % 10 == 0:
            frames.append(sender.heartbeat())
            if self.tells_utc:
                frames.append(sender.time_of_day(UTC_S + time.monotonic(), boot_s))
        return [*frames, sender.position(boot_s, 3.0), sender.attitude(boot_s)]

    def __enter__(self) -> "Autopilot":
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def stop(self) -> None:
        self._stop.set()
        self._thread.join()


def options(autopilot: Autopilot, records: Path) -> tuple[str, ...]:
    link = f"udpin:127.0.0.1:{autopilot.port}"
    return "--link", link, "--profile", str(CRAFT), "--record", str(records)


def run_for(autopilot: Autopilot, records: Path, seconds: float, how: signal.Signals) -> None:
    """Start a daemon, and end it after a time, whatever it is doing."""
    command = [sys.executable, "-m", "onboard", "run", "--listen", "127.0.0.1:0"]
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    process = subprocess.Popen([*command, *options(autopilot, records)], cwd=ROOT, **quiet)
    time.sleep(seconds)
    process.send_signal(how)
    process.wait()


@contextmanager
def killed(*given: str) -> Iterator[Daemon]:
    """Run a daemon that is killed when the block ends, however that ends."""
    daemon = Daemon(*given)
    try:
        yield daemon
    finally:
        daemon.process.kill()
        daemon.process.communicate()


def run_until(autopilot: Autopilot, records: Path, condition: Callable[[Any], bool]) -> float:
    """Run a daemon until its feed meets a condition and its card has the data, then kill it.

    Return the start of the trip by the autopilot's clock [s]: a daemon may take long to start.
    """
    with killed(*options(autopilot, records)) as daemon:
        shown = daemon.snapshot_when(condition)
        began_s: float = autopilot.boot_s - (shown["trip"]["elapsed_s"] or 0.0)
        before = on_card(records)
        daemon.snapshot_when(lambda _: on_card(records) > before)
    return began_s


def on_card(records: Path) -> int:
    """Return the size of the newest record [bytes]."""
    return (sessions(records)[0] / RECORD_NAME).stat().st_size


def elapsed(seconds: float) -> Callable[[Any], bool]:
    return lambda snapshot: (snapshot["trip"]["elapsed_s"] or 0.0) >= seconds


def went_on(autopilot: Autopilot, since_s: float) -> Callable[[Any], bool]:
    """Return a condition: the feed shows an earlier trip, longer than the daemon's run."""
    before_s = autopilot.boot_s - since_s
    return lambda snapshot: (
        (snapshot["trip"]["elapsed_s"] or 0.0) > autopilot.boot_s - since_s - 0.5 * before_s
    )


def joined(records: Path, newest: int | None = None) -> Path:
    """Return all records, or those of the newest sessions, as one log."""
    log = records.parent / "joined.tlog"
    folders = sessions(records)[:newest][::-1]
    log.write_bytes(b"".join((one / RECORD_NAME).read_bytes() for one in folders))
    return log


def last_of(autopilot: Autopilot, records: Path, condition: Callable[[Any], bool]) -> Any:
    """Run a daemon until its feed meets a condition, end the stream, and return the trip shown."""
    with Daemon(*options(autopilot, records)) as daemon:
        daemon.snapshot_when(condition)
        autopilot.stop()
        return daemon.snapshot_when(lambda snapshot: snapshot["link"]["age_s"] > 1.5)["trip"]


def assert_same(trip: Any, log: Path) -> None:
    whole = plain(review(log, load_profile(CRAFT)).trip)
    for key in ("energy_wh", "distance_m"):
        assert trip[key]["value"] == pytest.approx(whole[key]["value"], rel=1e-6), key
    assert trip["elapsed_s"] == pytest.approx(whole["elapsed_s"], abs=0.01)


def test_repeated_restarts_at_any_moment_continue_the_trip(tmp_path: Path) -> None:
    chance, records = random.Random(RESTARTS), tmp_path / "records"
    with Autopilot() as autopilot:
        began_s = run_until(autopilot, records, elapsed(RECORDED_S))
        for _ in range(RESTARTS):
            autopilot.silent = chance.random() < 0.3
            how = chance.choice([signal.SIGKILL, signal.SIGTERM])
            run_for(autopilot, records, chance.uniform(0.3, 2.0), how)
        autopilot.silent = False
        trip = last_of(autopilot, records, went_on(autopilot, began_s))
    assert_same(trip, joined(records))
    print(f"{RESTARTS} restarts, {len(sessions(records))} sessions, {trip['elapsed_s']:.0f} s")


def test_a_restart_of_the_autopilot_begins_another_trip_which_continues(tmp_path: Path) -> None:
    records = tmp_path / "records"
    with Autopilot() as autopilot:
        run_until(autopilot, records, elapsed(RECORDED_S))
        autopilot.silent = True
        run_for(autopilot, records, 1.5, signal.SIGTERM)
        autopilot.restart()
        autopilot.silent = False
        since_s = run_until(autopilot, records, elapsed(RECORDED_S))
        begun = len(sessions(records))
        trip = last_of(autopilot, records, went_on(autopilot, since_s))
    with pytest.raises(AssertionError):
        assert_same(trip, joined(records))
    assert_same(trip, joined(records, newest=len(sessions(records)) - begun + 1))


def has(snapshot: Any, reserve_fraction: float) -> bool:
    """Return whether there is a target (even without a cue yet), and this reserve."""
    untold = snapshot["target"] is None and snapshot["why"]["target"]["code"] == NO_AIM.code
    return snapshot["reserve_fraction"] == reserve_fraction and not untold


def test_a_target_set_while_the_craft_is_silent_survives_restarts(tmp_path: Path) -> None:
    records = tmp_path / "records"
    with Autopilot() as autopilot:
        run_until(autopilot, records, elapsed(RECORDED_S))
        autopilot.silent = True
        with killed(*options(autopilot, records)) as daemon:
            assert daemon.send_command(kind="set", key="target_distance_m", value=9000)["ok"]
            assert daemon.send_command(kind="set", key="reserve_fraction", value=0.31)["ok"]
        run_for(autopilot, records, 1.5, signal.SIGKILL)
        autopilot.silent = False
        run_until(autopilot, records, lambda snapshot: has(snapshot, 0.31))
        # A command between a start and the decision on the trip is not lost by that decision.
        autopilot.silent, since_s = True, autopilot.boot_s - 3.0
        with Daemon(*options(autopilot, records)) as daemon:
            assert daemon.send_command(kind="set", key="reserve_fraction", value=0.32)["ok"]
            autopilot.silent = False
            assert has(daemon.snapshot_when(went_on(autopilot, since_s)), 0.32)


def test_a_new_trip_is_not_undone_by_refolding_or_restarts(tmp_path: Path) -> None:
    records = tmp_path / "records"
    profile = tmp_path / "craft.toml"
    profile.write_text(CRAFT.read_text())
    with Autopilot() as autopilot:
        run_until(autopilot, records, elapsed(RECORDED_S))
        with killed(*options(autopilot, records), "--profile", str(profile)) as daemon:
            daemon.snapshot_when(elapsed(3.0))
            # The trip's records are folded again, which lasts beyond the start of the new trip.
            daemon.process.send_signal(signal.SIGHUP)
            assert daemon.send_command(kind="mark", mark="new_trip", text="")["ok"]
            began_s = autopilot.boot_s
            daemon.snapshot_when(lambda snapshot: autopilot.boot_s > began_s + 2.5)
            trip = next(daemon.snapshots())["trip"]
            assert trip["elapsed_s"] < autopilot.boot_s - began_s + 0.5
        begun = len(sessions(records))
        run_for(autopilot, records, 1.5, signal.SIGKILL)
        trip = last_of(autopilot, records, went_on(autopilot, began_s))
    assert_same(trip, joined(records, newest=len(sessions(records)) - begun + 1))
