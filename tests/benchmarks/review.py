"""`review LOG --json` as a whole, start-up included, against a bare pymavlink loop."""

import resource
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

from tests.benchmarks.rows import Row, given

LOOP = """
import sys
from pymavlink import mavutil
log = mavutil.mavlink_connection(sys.argv[1], dialect="all")
while log.recv_match() is not None:
    pass
"""


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


def rows(log: Path, hours: int, profile: Path) -> list[Row]:
    """Return the comparisons: without a battery in the profile, and with one."""
    about = f"review --json of {hours} h, whole process"
    loop = given(theirs, log)
    return [
        Row(f"{about} / bare recv_match() loop", given(ours, log), loop, 30, 60),
        Row(f"{about}, with a battery", given(ours, log, "--profile", str(profile)), loop),
    ]
