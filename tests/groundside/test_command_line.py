"""The viewer's commands as processes: the demo, plain lines, JSON, and wrong input."""

import json
import re
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from groundside.reports.review.summary import review
from onboard.contract.codec import plain
from onboard.profile import load_profile
from tests.daemon_process import ROOT
from tests.patience import PATIENCE_S

pytestmark = pytest.mark.slow

LOGS = ROOT / "replay_logs"
RIDE = LOGS / "harbour_loop.tlog"


def run(*words: str, timeout_s: float = PATIENCE_S) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "groundside", *words],
        cwd=ROOT,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=timeout_s,
        check=False,
    )


def test_the_demo_plays_by_itself_and_ends_with_the_log_s_own_watt_hours() -> None:
    result = run("demo")
    assert (result.returncode, result.stderr) == (0, "")
    lines = result.stdout.splitlines()
    assert sum("Wh/km" in line for line in lines) >= 15
    expected = plain(review(RIDE, load_profile(LOGS / "harbour_loop.toml")).trip)
    (energy,) = (line for line in lines if re.match("energy  ", line))
    assert float(energy.split()[1]) == pytest.approx(expected["energy_wh"]["value"], rel=0.005)
    assert "\x1b" not in result.stdout


def test_the_demo_at_its_fastest_loses_nothing() -> None:
    result = run("demo", "--speed", "400")
    expected = plain(review(RIDE, load_profile(LOGS / "harbour_loop.toml")).trip)
    (energy,) = (line for line in result.stdout.splitlines() if re.match("energy  ", line))
    assert float(energy.split()[1]) == pytest.approx(expected["energy_wh"]["value"], rel=0.005)


def test_a_demo_that_is_terminated_ends_its_daemon() -> None:
    demo = subprocess.Popen(
        [sys.executable, "-m", "groundside", "demo"],
        cwd=ROOT,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert demo.stdout is not None
    assert demo.stdout.readline()
    daemons = children_named("onboard", demo.pid)
    assert len(daemons) == 1
    demo.send_signal(signal.SIGTERM)
    demo.communicate(timeout=PATIENCE_S)
    assert demo.returncode == 128 + signal.SIGTERM
    assert not Path(f"/proc/{daemons[0]}").exists()


def children_named(word: str, parent: int) -> list[int]:
    found = []
    for entry in Path("/proc").glob("[0-9]*"):
        try:
            command = (entry / "cmdline").read_bytes()
            ppid = int((entry / "stat").read_text().rpartition(")")[2].split()[1])
        except OSError:
            continue
        if word.encode() in command and ppid == parent:
            found.append(int(entry.name))
    return found


def test_replay_in_plain_lines() -> None:
    result = run("replay", str(RIDE), "--speed", "300", "--units", "kn")
    assert result.returncode == 0
    assert "Wh/NM" in result.stdout
    assert "consumption" in result.stdout


def test_review_as_json_and_as_text() -> None:
    as_json = json.loads(run("review", str(RIDE), "--json").stdout)
    assert as_json["log"]["format"] == "telemetry"
    for_people = run("review", str(RIDE)).stdout
    assert "consumption" in for_people


def test_a_target_distance_gives_a_cue() -> None:
    result = run("demo", "--speed", "200", "--target-distance-m", "20000", "--plain")
    assert "cue " in result.stdout


BAD = [
    (("review", "/no/such/log"), "no such file"),
    (("replay", "/no/such/log"), "no such file"),
    (("review", "{tmp}/empty"), "the file is empty"),
    (("review", "{tmp}/notes.txt"), "no MAVLink frame"),
    (("replay", "{tmp}/notes.txt"), "no MAVLink frame"),
    (("review", "{tmp}/folder"), "no log and no session in this folder"),
    (("replay", "{tmp}/folder"), "is it a session?"),
    (("review", str(RIDE), "--profile", "{tmp}/bad.toml"), "craft.size: no such key"),
    (("review", str(RIDE), "--units", "furlongs"), "units 'furlongs'"),
    (("review", str(RIDE), "--system-id", "9"), "it holds system 1"),
    (("watch", "host:port"), "expected HOST"),
    (("replay", str(RIDE), "--speed", "-1"), "expected a number from 0.1 to 10000"),
    (("watch", "--target-distance-m", "far"), "expected a number from 1 to 1e+07"),
    (("sail",), "invalid choice"),
    ((), "required: COMMAND"),
]


@pytest.mark.parametrize(("words", "text"), BAD)
def test_bad_input_is_a_one_line_error_and_exit_code_2(
    tmp_path: Path, words: tuple[str, ...], text: str
) -> None:
    (tmp_path / "empty").write_bytes(b"")
    (tmp_path / "notes.txt").write_text("Went out at nine, came back at ten.\n")
    (tmp_path / "bad.toml").write_text("[craft]\nsize = 3\n")
    (tmp_path / "folder").mkdir()
    result = run(*(word.replace("{tmp}", str(tmp_path)) for word in words))
    assert result.returncode == 2
    assert text in result.stderr
    assert (result.stdout, result.stderr.count("\n")) == ("", 1), result.stderr


def test_a_log_truncated_within_a_frame_gives_what_it_holds(tmp_path: Path) -> None:
    data = RIDE.read_bytes()
    (tmp_path / "cut.tlog").write_bytes(data[: len(data) // 2 + 3])
    result = json.loads(run("review", str(tmp_path / "cut.tlog"), "--json").stdout)
    whole = json.loads(run("review", str(RIDE), "--json").stdout)
    assert 0 < result["trip"]["distance_m"]["value"] < whole["trip"]["distance_m"]["value"]
    assert result["log"]["bad_bytes"] > 0


def test_a_closed_pipe_ends_it_quietly() -> None:
    command = f"{sys.executable} -m groundside demo --speed 60 | head -n 2"
    result = subprocess.run(
        command,
        shell=True,
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
        check=False,
    )
    assert result.stdout.count("\n") == 2
    assert result.stderr == ""
