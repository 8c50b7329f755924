"""Waiting in tests, with a limit that only a hang reaches, on any machine."""

import asyncio
import contextlib
import os
import time
from collections.abc import Callable
from pathlib import Path

PATIENCE_S = 240.0


def cpu_wait_s(pid: int | None = None) -> float:
    """Return how long a process (None for this one) has waited for a processor so far [s].

    All its threads are counted. A promised time applies to an idle machine: a test may add the time
    for which a process was delayed.
    """
    ticks = Path("/proc/stat").read_text().split(maxsplit=9)[8]  # stolen from the whole machine
    waited_ns = 0
    for task in Path(f"/proc/{pid or os.getpid()}/task").iterdir():
        with contextlib.suppress(OSError):  # a thread that has ended, a kernel that does not count
            waited_ns += int((task / "schedstat").read_text().split()[1])
    return waited_ns / 1e9 + int(ticks) / os.sysconf("SC_CLK_TCK")


def until(condition: Callable[[], object]) -> None:
    """Wait until a condition holds."""
    deadline = time.monotonic() + PATIENCE_S
    while not condition():
        assert time.monotonic() < deadline
        time.sleep(0.002)


async def until_async(condition: Callable[[], object]) -> None:
    """Wait until a condition holds, letting the event loop run meanwhile."""
    async with asyncio.timeout(PATIENCE_S):
        while not condition():
            await asyncio.sleep(0.002)
