"""A second daemon in the same folder is refused, and leaves the first one's session alone."""

import fcntl
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from onboard.errors import UsageError
from onboard.record.record_lock import FILE_NAME, record_lock
from onboard.record.sessions import read_session, sessions
from tests.daemon_process import ROOT, Daemon
from tests.patience import PATIENCE_S

RUN = (sys.executable, "-m", "onboard", "run", "--listen", "127.0.0.1:0")
LINK = ("--link", "udpin:127.0.0.1:0")


def ended(*command: str) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        command, cwd=ROOT, capture_output=True, text=True, check=False, timeout=PATIENCE_S
    )


def content(directory: Path) -> dict[str, bytes]:
    files = [one for one in directory.rglob("*") if one.is_file()]
    # `learned.json` is written at its own pace.
    return {str(one): one.read_bytes() for one in files if not one.name.startswith("learned.json")}


@pytest.mark.slow
def test_a_second_daemon_is_refused_and_touches_nothing(tmp_path: Path) -> None:
    with Daemon(*LINK, "--record", str(tmp_path)) as first:
        next(first.snapshots())
        before = content(tmp_path)
        second = ended(*RUN, *LINK, "--record", str(tmp_path))
        assert second.returncode == 2
        assert second.stdout == ""
        assert second.stderr == (
            f"wattwake-onboard: {tmp_path}: another daemon (process {first.process.pid}) keeps its "
            "records here: stop it, choose another folder with --record, or use --no-record\n"
        )
        assert content(tmp_path) == before
        # Without a record there is nothing to share.
        with Daemon(*LINK, "--no-record"):
            pass
        for reader in (["groundside", "sessions", str(tmp_path)], ["onboard", "pair", "--list"]):
            more = ["--record", str(tmp_path)] if reader[0] == "onboard" else []
            done = ended(sys.executable, "-m", *reader, *more)
            assert "another daemon" not in done.stdout + done.stderr
    # A kill releases the lock at once.
    third = Daemon(*LINK, "--record", str(tmp_path))
    third.process.send_signal(signal.SIGKILL)
    with Daemon(*LINK, "--record", str(tmp_path)):
        pass
    third.process.communicate()
    assert [note.number for one in sessions(tmp_path) if (note := read_session(one))] == [3, 2, 1]


def test_the_lock_is_released_by_its_owner(tmp_path: Path) -> None:
    with record_lock(tmp_path / "all"):
        with pytest.raises(UsageError, match="another daemon"), record_lock(tmp_path / "all"):
            pass
        assert (tmp_path / "all" / FILE_NAME).read_text() == f"{os.getpid()}\n"
    with record_lock(tmp_path / "all"), record_lock(None):
        pass


def test_without_locks_in_the_file_system_it_goes_on(tmp_path: Path, monkeypatch) -> None:
    def none(*_: object) -> None:
        raise OSError(38, "Function not implemented")

    monkeypatch.setattr(fcntl, "flock", none)
    with record_lock(tmp_path), record_lock(tmp_path):
        pass
    (tmp_path / FILE_NAME).unlink()
    (tmp_path / FILE_NAME).mkdir()
    with record_lock(tmp_path):
        pass
