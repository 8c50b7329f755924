"""A run of the daemon as a child process: its log, start and end."""

import os
import re
import signal
import subprocess
import sys
import threading
import time
from dataclasses import dataclass
from pathlib import Path

from tests.faults.soak_viewer import Viewer

ROOT = Path(__file__).parents[2]
UP_WITHIN_S = 60.0
END_WITHIN_S = 30.0


@dataclass(frozen=True)
class Options:
    """Options common to all runs."""

    record: Path
    profile: Path
    logs: Path
    clock: "Clock"


class Clock:
    """The daemon's wall clock, which can be made to jump: a small file contains the offset of
    `time.time` and `time.time_ns` in the child. Times read by C code (`datetime.now`, file times)
    and the monotonic clock are unchanged."""

    SOURCE = (
        "import mmap, os, struct, time\n"
        "with open(os.environ['SOAK_CLOCK'], 'rb') as file:\n"
        "    seen = mmap.mmap(file.fileno(), 8, access=mmap.ACCESS_READ)\n"
        "def wall(real=time.time_ns):\n"
        "    return real() + struct.unpack('<q', seen)[0]\n"
        "time.time_ns = wall\n"
        "time.time = lambda: wall() * 1e-9\n"
    )

    def __init__(self, folder: Path) -> None:
        folder.mkdir()
        (folder / "sitecustomize.py").write_text(self.SOURCE)
        self._file = folder / "offset"
        self._folder = folder
        self._file.write_bytes(bytes(8))

    def jump(self, offset_s: float) -> None:
        with self._file.open("r+b") as file:
            file.write(round(offset_s * 1e9).to_bytes(8, "little", signed=True))

    def environment(self) -> dict[str, str]:
        return {**os.environ, "PYTHONPATH": str(self._folder), "SOAK_CLOCK": str(self._file)}


def command(record: Path, link: str, profile: Path) -> list[str]:
    where = ["--record", str(record), "--link", link, "--profile", str(profile)]
    feed = ["--listen", "127.0.0.1:0", "--crew-listen", "off", "--system-id", "1"]
    return [sys.executable, "-m", "onboard", "run", *where, *feed]


class Run:
    """A daemon from its start to its end."""

    def __init__(self, number: int, options: Options, link: str, kind: str) -> None:
        self.number, self.kind = number, kind
        self.cause: str | None = None
        """The signal sent to end it; None while it should run."""
        self.cause_s = self.ended_s = float("inf")
        self.code: int | None = None
        self.viewer: Viewer | None = None
        self.port: int | None = None
        self.forced = False
        self.stderr_path = options.logs / f"run-{number:04d}.stderr"
        self.began_s = time.monotonic()
        self.up_s: float | None = None
        with self.stderr_path.open("wb") as stderr:
            self.process = subprocess.Popen(
                command(options.record, link, options.profile),
                cwd=ROOT,
                env=options.clock.environment(),
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=stderr,
                text=True,
            )
        self._listener = threading.Thread(target=self._listen, daemon=True)
        self._listener.start()

    def _listen(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            found = re.search(r"feed on .*:(\d+)$", line)
            if found:
                self.up_s, self.port = time.monotonic(), int(found[1])
                self.viewer = Viewer(self.port)

    def wait_up(self) -> bool:
        """Wait until the feed is up; return False if the daemon ended or took too long."""
        until_s = time.monotonic() + UP_WITHIN_S
        while self.viewer is None and time.monotonic() < until_s:
            if self.process.poll() is not None:
                return False
            time.sleep(0.02)
        return self.viewer is not None

    def running(self) -> bool:
        return self.process.poll() is None

    def stderr(self) -> str:
        return self.stderr_path.read_text(errors="replace")

    def end(self, with_signal: signal.Signals) -> None:
        """Send a signal and wait; a daemon that ignores it is killed, and `forced` is set."""
        if self.running():
            # Silence after this does not count as a gap.
            if self.viewer is not None:
                self.viewer.close_at_s = time.monotonic()
            self.cause, self.cause_s = with_signal.name, time.monotonic()
            self.process.send_signal(with_signal)
            try:
                self.process.wait(END_WITHIN_S)
            except subprocess.TimeoutExpired:
                self.forced = True
                self.process.kill()
        self.code = self.process.wait()
        self.ended_s = time.monotonic()
        if self.viewer is not None:
            self.viewer.close()
        self._listener.join(5.0)
        assert self.process.stdout is not None
        self.process.stdout.close()
