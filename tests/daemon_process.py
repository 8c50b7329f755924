"""A real daemon as a child process, for end-to-end tests."""

import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

from onboard.record.subscriber import STRICT
from tests.patience import PATIENCE_S, cpu_wait_s

ROOT = Path(__file__).parents[1]


class Daemon:
    """Run `python -m onboard` until the `with` block ends.

    Parameters
    ----------
    options
        Command-line options.
    broken
        Code that injects a fault before the program starts; faults are then tolerated as on the
        craft, without the strict switch.
    """

    def __init__(self, *options: str, broken: str | None = None) -> None:
        start = ["-m", "onboard"]
        if broken is not None:
            run = "import sys; from onboard.command_line import main; sys.exit(main(sys.argv[1:]))"
            start = ["-c", f"{broken}\n{run}"]
        self.process = subprocess.Popen(
            [sys.executable, *start, "run", "--listen", "127.0.0.1:0", *options],
            cwd=ROOT,
            env=os.environ | {STRICT: "0" if broken is not None else "1"},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        self.stdout: list[str] = []
        """Lines so far."""
        self.wait_for_line("feed on")

    def wait_for_line(self, text: str) -> None:
        """Read stdout up to a line that contains a text."""
        assert self.process.stdout is not None
        while not self.stdout or text not in self.stdout[-1]:
            line = self.process.stdout.readline()
            assert line, self.process.stderr.read()
            self.stdout.append(line)

    def port(self, what: str) -> int:
        """Return the port on the line of stdout that begins with `what`."""
        found = re.search(rf"{what}.*:(\d+)$", "".join(self.stdout), re.MULTILINE)
        assert found
        return int(found[1])

    def __enter__(self) -> "Daemon":
        return self

    def __exit__(self, *_: object) -> None:
        self.process.send_signal(signal.SIGTERM)
        _, self.stderr = self.process.communicate(timeout=PATIENCE_S)
        assert self.process.returncode == 0

    def cpu_wait_s(self) -> float:
        """Return how long the daemon and this process have waited for a processor so far [s]."""
        return cpu_wait_s(self.process.pid) + cpu_wait_s()

    def snapshots(self):
        """Yield the snapshots of the feed as they come."""
        with socket.create_connection(("127.0.0.1", self.port("feed on")), PATIENCE_S) as viewer:
            for line in viewer.makefile("rb"):
                message = json.loads(line)
                if message["kind"] == "snapshot":
                    yield message

    def snapshot_when(self, condition, within_s: float = PATIENCE_S) -> dict:
        """Return the first snapshot that fulfils a condition."""
        deadline = time.monotonic() + within_s
        for snapshot in self.snapshots():
            if condition(snapshot):
                return snapshot
            assert time.monotonic() < deadline, snapshot
        raise AssertionError("the feed ended")

    def send_command(self, **command: Any) -> dict[str, Any]:
        """Send a command over the feed; return its acknowledgement."""
        with socket.create_connection(("127.0.0.1", self.port("feed on")), PATIENCE_S) as viewer:
            viewer.sendall(json.dumps({"id": 7, **command}).encode() + b"\n")
            for line in viewer.makefile("rb"):
                answer: dict[str, Any] = json.loads(line)
                if answer["kind"] == "ack" and answer["id"] == 7:
                    return answer
        raise AssertionError("no answer")
