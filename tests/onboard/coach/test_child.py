"""The reckoning in a child process: its answers, its death, its end."""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from onboard.coach.child import STARTS_MOST, Answer, Reckoner, ReckonerError
from onboard.coach.reckoner import question
from onboard.coach.reckoning import Reckoning
from tests.onboard.coach.made_day import START_UNIX_S, made_day
from tests.onboard.coach.test_session_reading import PROFILE
from tests.patience import PATIENCE_S

pytestmark = pytest.mark.slow


def wait_for(poll: Callable[[], Answer | None]) -> Answer:
    end_s = time.monotonic() + PATIENCE_S
    while (answer := poll()) is None:
        assert time.monotonic() < end_s
        time.sleep(0.01)
    return answer


@pytest.fixture
def reckoner(tmp_path: Path) -> Iterator[Reckoner]:
    made = Reckoner([made_day().put(tmp_path / "s")], None)
    yield made
    made.close()


def test_its_answer_is_that_of_this_process(reckoner: Reckoner) -> None:
    assert reckoner.poll() is None
    reckoner.ask()
    assert reckoner.busy
    answer = wait_for(reckoner.poll)
    assert not reckoner.busy
    here = Reckoning(reckoner.folders, PROFILE)
    assert answer.reckoned == here.reckon()
    assert answer.zero_stamp_s == pytest.approx(START_UNIX_S, abs=0.1)
    reckoner.ask()
    assert wait_for(reckoner.poll).reckoned == answer.reckoned


def test_a_child_that_dies_is_started_once_more_and_then_named(reckoner: Reckoner) -> None:
    reckoner.ask()
    assert reckoner.pid is not None
    os.kill(reckoner.pid, signal.SIGKILL)
    first = reckoner.pid
    assert wait_for(reckoner.poll).reckoned.runs  # it was asked again
    assert reckoner.pid != first
    os.kill(reckoner.pid, signal.SIGKILL)
    with pytest.raises(ReckonerError):
        while reckoner.pid is not None:
            reckoner.poll()
            time.sleep(0.01)


def test_its_faults_are_told(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    folder = made_day().put(tmp_path / "s")
    (folder / "profile.toml").write_text("[battery]\ncells = 0\n")
    broken = Reckoner([folder], None)

    children: set[int | None] = set()
    with pytest.raises(ReckonerError):
        while len(children) <= STARTS_MOST:
            broken.ask()
            children.add(broken.pid)
            broken.poll()
            time.sleep(0.01)
    assert "the coach's reckoning" in caplog.text


def test_it_ends_with_its_input(tmp_path: Path) -> None:
    folder = made_day().put(tmp_path / "s")
    asked = question([folder], None) + b"{}\n"
    done = subprocess.run(
        [sys.executable, "-m", "onboard.coach.reckoner"],
        input=asked, capture_output=True, timeout=PATIENCE_S, check=True,
    )  # fmt: skip
    (line,) = done.stdout.splitlines()
    assert json.loads(line)["reckoned"]["runs"]
