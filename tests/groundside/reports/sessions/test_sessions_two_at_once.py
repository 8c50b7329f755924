"""Several processes on one season: a recording daemon and simultaneous lists."""

import json
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from groundside.reports.sessions.season_cache import FILE_NAME, CachedRow, SeasonCache
from tests.daemon_process import ROOT, Daemon
from tests.groundside.reports.sessions.made_sessions import DAY_US, START_US, listed, session
from tests.patience import PATIENCE_S

pytestmark = pytest.mark.slow


def start(*words: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "groundside", "sessions", *words],
        cwd=ROOT,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


@pytest.mark.parametrize("damaged", [False, True])
def test_simultaneous_lists_are_equal_and_leave_a_sound_cache(
    damaged, capsys, tmp_path: Path
) -> None:
    for number in range(6):
        session(tmp_path, START_US + number * DAY_US, number=number + 1, named=[(30, "B")])
    if damaged:
        (tmp_path / FILE_NAME).write_bytes(b"no cache at all" * 1000)
    running = [start(str(tmp_path), "--json", *(["--rebuild"] if n == 2 else [])) for n in range(4)]
    outputs = [process.communicate(timeout=PATIENCE_S) for process in running]
    assert [process.returncode for process in running] == [0] * 4
    # Only one of them finds it damaged.
    assert sum(err.count("\n") for _, err in outputs) == int(damaged)
    for out, _ in outputs:
        assert json.loads(out) == json.loads(outputs[0][0])
    assert len(SeasonCache(tmp_path / FILE_NAME, print).rows()) == 6
    assert listed(capsys, tmp_path) == json.loads(outputs[0][0])


def test_concurrent_writers_lose_no_row(capsys, tmp_path: Path) -> None:
    session(tmp_path)
    listed(capsys, tmp_path)
    path = tmp_path / FILE_NAME
    (row,) = SeasonCache(path, print).rows().values()
    warnings: list[str] = []

    def write(worker: int) -> None:
        cache = SeasonCache(path, warnings.append)
        for n in range(20):
            cache.update([CachedRow(f"{worker}-{n}", "", "", "", row.sums)], [], {})
            assert row.name in cache.rows()

    workers = [threading.Thread(target=write, args=(worker,)) for worker in range(4)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(PATIENCE_S)
    assert warnings == []
    assert len(SeasonCache(path, print).rows()) == 81


def test_a_session_being_recorded_is_read_up_to_now(capsys, tmp_path: Path) -> None:
    earlier = session(tmp_path)
    link = f"file:{ROOT / 'replay_logs' / 'at_anchor.tlog'}"
    with Daemon("--link", link, "--record", str(tmp_path)) as daemon:
        daemon.snapshot_when(lambda snapshot: (snapshot["trip"]["elapsed_s"] or 0.0) > 3.0)
        durations: list[float] = []
        deadline_s = time.monotonic() + PATIENCE_S
        while len(set(durations)) < 2:
            going = [
                one for one in listed(capsys, tmp_path)["sessions"] if one["name"] != earlier.name
            ]
            assert [one["is_open"] for one in going] == [True]
            if going[0]["duration_s"] is not None:
                durations.append(going[0]["duration_s"])
            assert time.monotonic() < deadline_s, durations
            time.sleep(0.2)
        assert durations == sorted(durations)
        assert list(SeasonCache(tmp_path / FILE_NAME, print).rows()) == [earlier.name]
    found = listed(capsys, tmp_path)["sessions"]
    assert [one["is_open"] for one in found] == [False, False]
    assert len(SeasonCache(tmp_path / FILE_NAME, print).rows()) == 2
    # The cache does not disturb the daemon, which continues with its own files.
    with Daemon("--link", link, "--record", str(tmp_path)) as daemon:
        daemon.snapshot_when(lambda snapshot: (snapshot["trip"]["elapsed_s"] or 0.0) > 0.5)
    assert len(listed(capsys, tmp_path)["sessions"]) == 3
