"""Several logs at once: the same reviews as one by one, whatever is wrong with some of them."""

import contextlib
import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest

from groundside.command_line import main
from groundside.reports.review import parallel_review
from groundside.reports.review.parallel_review import review_logs
from onboard.profile import profile_for
from tests.patience import PATIENCE_S
from tests.small_streams import Sender, records

LOGS = Path(__file__).parents[4] / "replay_logs"
RIDES = [LOGS / "harbour_loop.tlog", LOGS / "at_anchor.tlog", LOGS / "board_sprints.tlog"]
NO_PROFILE = partial(profile_for, None)


@pytest.mark.slow
def test_reviews_on_all_cores_equal_those_one_by_one(monkeypatch, tmp_path: Path) -> None:
    paths = [*RIDES, tmp_path / "missing.tlog"]
    reported: list[int] = []
    alone = review_logs(paths, NO_PROFILE)
    monkeypatch.setattr(parallel_review, "WORTH_BYTES", 0)
    monkeypatch.setattr(os, "cpu_count", lambda: 2)
    together = review_logs(paths, NO_PROFILE, progress=reported.append)
    assert together == alone
    assert reported == sorted(reported)
    assert reported[-1] == sum(path.stat().st_size for path in RIDES)
    assert alone[3].problem == f"{tmp_path / 'missing.tlog'}: no such file"


def test_progress_counts_all_logs() -> None:
    reported: list[int] = []
    review_logs(RIDES[1:], NO_PROFILE, progress=reported.append)
    assert reported == sorted(reported)
    assert reported[-1] == sum(path.stat().st_size for path in RIDES[1:])


def test_several_logs_as_json_and_as_lines(capsys, tmp_path: Path) -> None:
    (tmp_path / "notes").write_text("no log")
    names = [str(RIDES[1]), str(tmp_path / "notes"), str(RIDES[2])]
    assert main(["review", *names, "--json"]) == 2
    out, err = capsys.readouterr()
    reviews = json.loads(out)["reviews"]
    assert [one["path"] for one in reviews] == names
    assert reviews[0]["trip"]["elapsed_s"] > 100
    assert "no MAVLink frame" in reviews[1]["problem"]
    assert err.count("\n") == 1
    assert main(["review", *names]) == 2
    out, _ = capsys.readouterr()
    rows = [line.split()[0] for line in out.splitlines() if ".tlog  " in line]
    assert rows == ["at_anchor.tlog", "board_sprints.tlog"]
    assert "1 log could not be read: not counted" in out


def maps(process: Path) -> str:
    return (process / "maps").read_text()


def workers(process: Path) -> list[Path]:
    pids = (process / "task" / process.name / "children").read_text().split()
    children = [Path("/proc") / pid for pid in pids]
    return [one for one in children if b"spawn_main" in (one / "cmdline").read_bytes()]


def begins(process: Path, _log: Path) -> bool:
    return "/math.cpython" in maps(process)  # loaded with what the command line itself needs


def imports(process: Path, _log: Path) -> bool:
    return "_multiarray_umath" in maps(process)


def starts_a_worker(process: Path, _log: Path) -> bool:
    return bool(workers(process))


def a_worker_imports(process: Path, _log: Path) -> bool:
    return any("_multiarray_umath" in maps(one) for one in workers(process))


def a_worker_reads(process: Path, log: Path) -> bool:
    return any(log.samefile(file) for one in workers(process) for file in (one / "fd").iterdir())


STAGES = [begins, imports, starts_a_worker, a_worker_imports, a_worker_reads]


@pytest.mark.slow
@pytest.mark.skipif(os.cpu_count() == 1, reason="one core has no workers")
@pytest.mark.parametrize("times", [1, 3])
@pytest.mark.parametrize("stage", STAGES)
def test_an_interrupt_ends_quietly(
    tmp_path: Path, stage: Callable[[Path, Path], bool], times: int
) -> None:
    sender = Sender()
    frames = [frame for n in range(3000) for frame in sender.second(n, 50, 10, 2)]
    path = tmp_path / "log.tlog"
    path.write_bytes(records(frames))
    run = [sys.executable, "-m", "groundside", "review", *[str(path)] * 300]
    with subprocess.Popen(
        run, stdout=subprocess.PIPE, stderr=subprocess.PIPE, start_new_session=True
    ) as process:
        reached = False
        while not reached and process.poll() is None:
            with contextlib.suppress(OSError):  # a file or child that came and went
                reached = stage(Path(f"/proc/{process.pid}"), path)
        for _ in range(times):
            os.killpg(process.pid, signal.SIGINT)
        out, err = process.communicate(timeout=PATIENCE_S)
    assert reached
    # While it starts, the system ends it, which a shell reports as 130, too.
    assert process.returncode in ((130, -signal.SIGINT) if stage is begins else (130,))
    assert (out, err) == (b"", b"")
