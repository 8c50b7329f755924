"""CPU share of the dashboard in each view, compared with an idle app of the toolkit.

Both run at the same time, each in a separate process on a pty that is read like a terminal.
"""

import contextlib
import fcntl
import os
import pty
import statistics
import struct
import subprocess
import sys
import termios
import threading
import time
from collections.abc import Iterator
from pathlib import Path

from groundside.dashboard.views.all import VIEWS
from tests.benchmarks.daemon import resident_mib

SECONDS = 12.0
SIZES = ((40, 22), (80, 24), (120, 40))
NEEDED = {"ride": 3.0, "curve": 5.0, "trip": 5.0}
"""Limit on each view's CPU time [% of a core]; views not listed have the ride view's."""

RATIO_VIEW, RATIO_RUNS = "ride", 5
MUST_RATIOS = {(40, 22): 5.0, (80, 24): 5.0, (120, 40): 8.0}
"""Limit on the ride view's CPU time at each size, at 5 Hz [times that of an idle app]."""
FEEDS = {"": "everything changing", "+sums": "newest values changing, sums once a second"}
"""What is added to a view's name for a child, and what its feed does."""


@contextlib.contextmanager
def on_a_pty(what: str, size: tuple[int, int]) -> Iterator[tuple[int, list[int]]]:
    """Run a child on a terminal; yield its process id and a growing count of bytes painted."""
    master, slave = pty.openpty()
    fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", size[1], size[0], 0, 0))
    child = subprocess.Popen(
        [sys.executable, "-m", "tests.benchmarks.dashboard_child", what],
        stdin=slave,
        stdout=slave,
        stderr=slave,
        env={**os.environ, "TERM": "xterm-256color", "COLORTERM": "truecolor"},
    )
    os.close(slave)
    painted = [0]

    def read() -> None:
        with contextlib.suppress(OSError):
            while data := os.read(master, 65536):
                painted[0] += len(data)

    reader = threading.Thread(target=read, daemon=True)
    reader.start()
    try:
        yield child.pid, painted
    finally:
        child.kill()
        child.wait()
        reader.join(timeout=2)
        os.close(master)


def scheduled_s(pid: int) -> float:
    """Return the CPU time of a process [s]; clock ticks are too coarse for an idle app."""
    threads = Path(f"/proc/{pid}/task").glob("*/schedstat")
    return sum(int(each.read_text().split()[0]) for each in threads) / 1e9


def shares(view: str, size: tuple[int, int]) -> tuple[float, float, float, float]:
    """Return the CPU shares of view and idle app [%], bytes per second, and memory [MiB]."""
    with on_a_pty(view, size) as (ours, painted), on_a_pty("idle", size) as (idle, _):
        time.sleep(4.0)
        before, bytes_before = [scheduled_s(pid) for pid in (ours, idle)], painted[0]
        time.sleep(SECONDS)
        ours_s, idle_s = (scheduled_s(p) - b for p, b in zip((ours, idle), before, strict=True))
        rate = (painted[0] - bytes_before) / SECONDS
        return 100 * ours_s / SECONDS, 100 * idle_s / SECONDS, rate, resident_mib(ours)


def lines() -> Iterator[str]:
    """Yield the lines of this part."""
    for size in SIZES:
        for view in (each.NAME for each in VIEWS):
            ours, idle, rate, memory = shares(view, size)
            yield (
                f"dashboard, {view} view, {size[0]}x{size[1]}, 5 Hz, everything changing: "
                f"{ours:.1f} % of a core, idle app {idle:.1f} %; needed {NEEDED.get(view, 3.0):g}; "
                f"{rate / 1000:.1f} kB/s, {memory:.0f} MiB"
            )
    for suffix, feed in FEEDS.items():
        for size in MUST_RATIOS:
            yield ratio_line(suffix, feed, size)


def ratio_line(suffix: str, feed: str, size: tuple[int, int]) -> str:
    """Return the line with the median ratio of the ride view to an idle app."""
    ratios = []
    for _ in range(RATIO_RUNS):
        ours, idle, _, _ = shares(RATIO_VIEW + suffix, size)
        ratios.append(ours / idle)
    return (
        f"dashboard, {RATIO_VIEW} view, {size[0]}x{size[1]}, 5 Hz, {feed}: "
        f"{statistics.median(ratios):.1f} times an idle app, median of {RATIO_RUNS} "
        f"({min(ratios):.1f} to {max(ratios):.1f}); must be {MUST_RATIOS[size]:g}"
    )
