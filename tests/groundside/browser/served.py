"""A web server in a separate process, and the processes that it starts."""

import contextlib
import subprocess
import sys
import time
from pathlib import Path

from tests.daemon_process import ROOT
from tests.free_port import free_port


def children_of(parent: int) -> list[int]:
    """Return the child processes of a process."""
    path = Path(f"/proc/{parent}/task/{parent}/children")
    return [int(pid) for pid in path.read_text().split()]


def is_there(pid: int) -> bool:
    with contextlib.suppress(ProcessLookupError, FileNotFoundError):
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    return False


def gone_within(pids: list[int], seconds_s: float) -> bool:
    end_s = time.monotonic() + seconds_s
    while time.monotonic() < end_s:
        if not any(map(is_there, pids)):
            return True
        time.sleep(0.05)
    return False


class Served:
    """A server in a separate process; without a feed its dashboards get no answer."""

    def __init__(self, *options: str, feed: int | None = None) -> None:
        self.port = free_port()
        feed = feed or free_port()
        command = [sys.executable, "-m", "groundside", "serve", f"127.0.0.1:{feed}"]
        command += ["--bind", f"127.0.0.1:{self.port}", *options]
        self.process = subprocess.Popen(
            command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
        )
        assert self.process.stdout is not None
        self.first_line = self.process.stdout.readline()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    @property
    def origin(self) -> dict[str, str]:
        return {"Origin": self.url}
