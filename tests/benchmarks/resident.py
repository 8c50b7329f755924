"""Resident memory over hours of stream, of a real daemon that records, with a viewer.

The stream is played faster than real time, but never far ahead of what the daemon reports as
received: nothing is lost, and a slow machine only plays more slowly.
"""

import contextlib
import os
import statistics
import tempfile
import threading
import time
import tty
from collections.abc import Generator, Iterator
from pathlib import Path
from typing import Any

from tests.benchmarks.daemon import cpu_s, resident_mib
from tests.benchmarks.long_stream import LongStream
from tests.craft.live import Send, opened, write_all
from tests.craft.mavlink_stream import Frame
from tests.craft.telemetry_log import log_frames
from tests.daemon_process import Daemon

PROFILE = """
[battery]
chemistry = "lfp"
cells = 8
capacity_ah = 200
"""
"""A craft profile with a battery that lasts for a day."""

WINDOW_S = 600.0
"""Stream time per median [s]; single samples include memory in use only briefly."""

SAMPLES_A_WINDOW = 30
AHEAD_MOST = 4000
"""Limit on frames sent ahead of the daemon: fewer than the kernel buffers."""

BURST_S = 0.01
STUCK_S = 60.0
SAMPLE_AT_LEAST_EVERY_S = 5.0
UDP = "udpin:127.0.0.1:0"
NEEDED_MIB = 1.0


class Watched:
    """Read a daemon's feed as a viewer, and sample its resident memory meanwhile.

    Parameters
    ----------
    running
        The daemon.
    every_s
        Interval between samples [s].
    """

    def __init__(self, running: Daemon, every_s: float) -> None:
        self._running, self._every_s = running, every_s
        self.stream_s = 0.0
        self.messages = self.lost = 0
        self.resident: list[tuple[float, float]] = []
        """Stream time [s] and resident memory [MiB]."""
        self._stop = threading.Event()
        self._threads = [threading.Thread(target=one) for one in (self._view, self._sample)]

    def __enter__(self) -> "Watched":
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        for thread in self._threads:
            thread.join()

    def _view(self) -> None:
        for snapshot in self._running.snapshots():
            if self._stop.is_set():
                return
            link: dict[str, Any] = snapshot["link"]
            self.messages, self.lost = link["messages"], link["lost"]
            self.stream_s = snapshot["t_s"] or 0.0

    def _sample(self) -> None:
        while not self._stop.wait(self._every_s):
            mib = resident_mib(self._running.process.pid)
            self.resident.append((self.stream_s, mib))

    def medians(self) -> dict[int, float]:
        """Return the median of each ten minutes of stream [MiB], by its number."""
        windows: dict[int, list[float]] = {}
        for stream_s, mib in self.resident:
            windows.setdefault(int(stream_s // WINDOW_S), []).append(mib)
        return {number: statistics.median(several) for number, several in windows.items()}


def count_frames(path: Path) -> int:
    """Return the number of frames in a record."""
    return sum(1 for _ in log_frames(path))


@contextlib.contextmanager
def pseudo_terminal() -> Iterator[tuple[str, Send]]:
    """Yield the name of a pseudo-terminal, which acts as a serial port, and its send function."""
    ours, theirs = os.openpty()
    tty.setraw(theirs)
    try:
        yield os.ttyname(theirs), lambda data: write_all(ours, data)
    finally:
        os.close(ours)
        os.close(theirs)


class Player:
    """Send frames at a given speed, but not far ahead of the daemon.

    Parameters
    ----------
    send
        Sends a frame.
    watched
        Counts the messages that the daemon has received.
    speed
        Speed, as a multiple of real time.
    """

    def __init__(self, send: Send, watched: Watched, speed: float) -> None:
        self._send, self._watched, self._speed = send, watched, speed
        self._began_s = time.monotonic()
        self.sent = 0

    def play(self, frames: Iterator[Frame]) -> None:
        """Send frames."""
        for frame in frames:
            early_s = self._began_s + frame.time_s / self._speed - time.monotonic()
            if early_s > BURST_S:
                time.sleep(early_s)
            self._wait_for(self.sent - AHEAD_MOST)
            self._send(frame.data)
            self.sent += 1

    def finish(self) -> None:
        """Wait until the daemon has received all."""
        self._wait_for(self.sent)

    def _wait_for(self, count: int) -> None:
        deadline_s = time.monotonic() + STUCK_S
        while self._watched.messages < count:
            time.sleep(BURST_S)
            if time.monotonic() > deadline_s:
                raise RuntimeError(f"{self.sent} frames sent, {self._watched.messages} taken")


def lines(hour: Path, folder: Path, hours: int, speed: float, kind: str) -> Iterator[str]:
    """Play hours to a daemon; yield its resident memory per hour, and its growth."""
    stream = LongStream(list(log_frames(hour)))
    with tempfile.TemporaryDirectory(dir=folder) as record:
        medians: dict[int, float] = {}
        sent = yield from _played(stream, folder, Path(record), (hours, speed, kind), medians)
        recorded = sum(map(count_frames, Path(record).rglob("*.tlog")))
    yield "ten minutes each [MiB]: " + " ".join(f"{medians[n]:.2f}" for n in sorted(medians))
    grown = medians[6 * hours - 1] - medians[5]
    reached = "reached" if grown <= NEEDED_MIB else "NOT REACHED"
    yield (
        f"{kind} at {speed:g}x, {sent} frames sent, {recorded} recorded, hour 1 to {hours}: "
        f"{grown:+.2f} MiB; needed {NEEDED_MIB:g}: {reached}"
    )


def _played(
    stream: LongStream,
    folder: Path,
    record: Path,
    wanted: tuple[int, float, str],
    medians: dict[int, float],
) -> Generator[str, None, int]:
    """Play to a new daemon and fill in the medians; return the number of frames sent."""
    hours, speed, kind = wanted
    profile = folder / "day.toml"
    profile.write_text(PROFILE, encoding="utf-8")
    with contextlib.ExitStack() as stack:
        link, send = stack.enter_context(pseudo_terminal()) if kind == "pty" else (UDP, None)
        options = ("--link", link, "--profile", str(profile), "--record", str(record))
        running = stack.enter_context(Daemon(*options))
        if send is None:
            target = f"udpout:127.0.0.1:{running.port('link udpin')}"
            send = stack.enter_context(opened(target))
        pid = running.process.pid
        yield f"started: {resident_mib(pid):.2f} MiB resident"
        every_s = min(WINDOW_S / speed / SAMPLES_A_WINDOW, SAMPLE_AT_LEAST_EVERY_S)
        watched = stack.enter_context(Watched(running, every_s))
        player, began_s = Player(send, watched, speed), time.monotonic()
        for number in range(hours):
            player.play(stream.frames(number))
            player.finish()
            medians.update(watched.medians())
            took_s = time.monotonic() - began_s
            yield (
                f"hour {number + 1}: {medians[6 * number + 5]:.2f} MiB, "
                f"{watched.messages} frames, {watched.lost} lost, "
                f"{3600 * (number + 1) / took_s:.0f}x, {cpu_s(pid):.1f} s CPU"
            )
        return player.sent
