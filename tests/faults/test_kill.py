"""Killed at any moment: the record is readable, and at most the last second is missing.

WATTWAKE_KILLS=200 python -m pytest tests/faults/test_kill.py -s
"""

import os
import random
import subprocess
import sys
import time
from pathlib import Path

import pytest

from onboard.record.sessions import CUT_OFF, read_session, sessions
from tests.daemon_process import ROOT, Daemon
from tests.faults.faulty_link import background, udp
from tests.faults.numbered_frames import numbered, recorded
from tests.newest import latest_session

pytestmark = pytest.mark.slow

KILLS = max(int(os.environ.get("WATTWAKE_KILLS", "3")), 1)
BATCH = 8
"""Kills per test, so that none takes long."""
BATCHES = [range(first, min(first + BATCH, KILLS)) for first in range(0, KILLS, BATCH)]

MISSING_MOST_S = 1.0


def killed(directory: Path, after_s: float) -> tuple[float, int]:
    """Run a daemon and kill it; return the time missing from its record [s], and its frames.

    Time in which the daemon had to wait for a processor does not count as missing.
    """
    daemon = Daemon("--link", "udpin:127.0.0.1:0", "--record", str(directory))
    try:
        with (
            udp(daemon.port("link udpin")) as send,
            background(numbered(after_s + 5), send) as sent_s,
        ):
            before_s = daemon.cpu_wait_s()
            time.sleep(after_s)
            cpu_wait_s = daemon.cpu_wait_s() - before_s
            killed_s = time.monotonic()  # when the kill begins: later frames need not be recorded
            daemon.process.kill()
    finally:
        daemon.process.kill()
        daemon.process.communicate()
    session = latest_session(directory)
    assert session is not None
    kept, bad_bytes = recorded(session)
    assert bad_bytes < 40  # the record being written
    before = [at_s for at_s in sent_s if at_s <= killed_s]
    assert kept <= len(sent_s)
    missing_s = killed_s - before[kept] if kept < len(before) else 0.0
    return max(missing_s - cpu_wait_s, 0.0), kept


@pytest.mark.parametrize("kills", BATCHES)
def test_a_kill_takes_at_most_the_last_second(tmp_path: Path, kills: range) -> None:
    chance = random.Random(1000 + kills.start)
    missing_s = []
    for n in kills:
        lost_s, kept = killed(tmp_path, chance.uniform(0.05, 2.5))
        missing_s.append(lost_s)
        print(f"kill {n + 1}: {kept} frames kept, the last {lost_s:.2f} s missing")
    assert max(missing_s) <= MISSING_MOST_S
    # Each start has marked the previous session, and none was removed.
    notes = [read_session(folder) for folder in sessions(tmp_path)]
    assert [note.number for note in notes if note] == list(range(len(kills), 0, -1))
    assert [note.note for note in notes[1:] if note] == [CUT_OFF] * (len(kills) - 1)


@pytest.mark.parametrize("kills", BATCHES)
def test_a_kill_during_a_start_does_not_hinder_the_next_start(tmp_path: Path, kills: range) -> None:
    chance = random.Random(5000 + kills.start)
    command = [sys.executable, "-m", "onboard", "run", "--listen", "127.0.0.1:0"]
    for _ in kills:
        process = subprocess.Popen(
            [*command, "--link", "udpin:127.0.0.1:0", "--record", str(tmp_path)],
            cwd=ROOT,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        time.sleep(chance.uniform(0.2, 1.0))
        process.kill()
        process.wait()
    begun = len(sessions(tmp_path))
    with Daemon("--link", "udpin:127.0.0.1:0", "--record", str(tmp_path)) as daemon:
        next(daemon.snapshots())
        newest = latest_session(tmp_path)
        assert newest is not None
        assert f"wattwake: record {newest}\n" in daemon.stdout
    assert len(sessions(tmp_path)) == begun + 1
    print(f"{len(kills)} kills while starting, {begun} of them with a session begun")
