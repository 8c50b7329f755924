"""How long a test waits for what is to happen, on whatever machine: only a hang comes near."""

import contextlib
import os
from pathlib import Path

PATIENCE_S = 240.0


def held_up_s(pid: int | None = None) -> float:
    """Return how long a process (None for this one) has waited for a processor so far [s].

    All its threads are counted. What is promised within a time is promised to a machine that has
    time for it: a test may allow as much more as a process was held up meanwhile.
    """
    ticks = Path("/proc/stat").read_text().split(maxsplit=9)[8]  # taken from the whole machine
    waited_ns = 0
    for task in Path(f"/proc/{pid or os.getpid()}/task").iterdir():
        with contextlib.suppress(OSError):  # a thread that is gone, a kernel that does not count
            waited_ns += int((task / "schedstat").read_text().split()[1])
    return waited_ns / 1e9 + int(ticks) / os.sysconf("SC_CLK_TCK")
