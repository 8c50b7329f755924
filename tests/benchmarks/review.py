"""`review LOG --json` as a whole, start-up included, against a bare pymavlink loop."""

import os
import resource
import statistics
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from tests.benchmarks.made_log import long_log
from tests.benchmarks.rows import Row, given, timed

GROWTH_H = (1, 3, 10, 30)

PEAK = """
import resource, subprocess, sys
run = [sys.argv[1], "-m", "groundside", "review", sys.argv[2], "--json"]
subprocess.run(run, check=True, stdout=subprocess.DEVNULL)
print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)
"""
"""In a process of its own, which has no other children."""

LOOP = """
import sys
from pymavlink import mavutil
log = mavutil.mavlink_connection(sys.argv[1], dialect="all")
while log.recv_match() is not None:
    pass
"""


@dataclass(frozen=True)
class Logs:
    """The logs and the profile: an hour of few frames and many speeds, one of many frames, and
    that one `hours` times."""

    varied: Path
    hour: Path
    long: Path
    hours: int
    profile: Path


def children_cpu_s(work: Callable[[], object]) -> float:
    """Return the CPU time of the child processes of some work [s]."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    work()
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def ours(path: Path, *more: str) -> None:
    """Run the command."""
    run = [sys.executable, "-m", "groundside", "review", str(path), "--json", *more]
    subprocess.run(run, check=True, stdout=subprocess.DEVNULL)


def theirs(path: Path) -> None:
    """Run the loop in a separate process."""
    subprocess.run([sys.executable, "-c", LOOP, str(path)], check=True)


def bare() -> None:
    """Start Python and load numpy: the part that is neither side's."""
    environment = os.environ | {"OPENBLAS_NUM_THREADS": "1"}
    subprocess.run([sys.executable, "-c", "import numpy"], check=True, env=environment)


def rows(logs: Logs) -> list[Row]:
    """Return the comparisons."""
    found = []
    for about, path, must, aim in (
        ("the varied hour", logs.varied, 5, 7),
        ("the hour of many frames", logs.hour, 15, 22),
        (f"{logs.hours} h of it", logs.long, 40, 60),
    ):
        name = f"review --json of {about}, whole process"
        loop = given(theirs, path)
        found.append(Row(f"{name} / bare recv_match() loop", given(ours, path), loop, must, aim))
        if path != logs.hour:
            with_battery = given(ours, path, "--profile", str(logs.profile))
            found.append(Row(f"{name}, with a battery", with_battery, loop))
    return found


def lines(logs: Logs, rounds: int) -> Iterator[str]:
    """Yield the lines of this part."""
    bare_s = statistics.median(children_cpu_s(bare) for _ in range(5))
    yield f"bare Python and numpy: {bare_s:.3f} s"
    yield from (timed(row, rounds, children_cpu_s) for row in rows(logs))
    yield from growth(logs)


def growth(logs: Logs) -> Iterator[str]:
    """Yield how time and memory grow with the length of a varied ride."""
    for hours in GROWTH_H:
        path = logs.varied.with_name(f"varied{hours}.tlog")
        long_log(path, logs.varied, hours)
        took_s = statistics.median(children_cpu_s(given(ours, path)) for _ in range(3))
        yield (
            f"review --json of {hours} varied h: {took_s:.2f} s of CPU, {took_s / hours:.3f} an "
            f"hour, peak {peak_mib(path):.0f} MiB"
        )
        path.unlink()


def peak_mib(path: Path) -> float:
    """Return the peak resident memory of the command, as the kernel counts it [MiB]."""
    run = [sys.executable, "-c", PEAK, sys.executable, str(path)]
    return int(subprocess.run(run, check=True, capture_output=True, text=True).stdout) / 1024
