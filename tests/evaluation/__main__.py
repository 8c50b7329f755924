"""`python -m tests.evaluation`: simulate rides on two cores and print the tables."""

import argparse
import multiprocessing
import os
import sys
import tempfile
import time
import traceback
from pathlib import Path
from typing import Any

from tests.craft.crafts import CRAFTS
from tests.evaluation.cases import CASES, jobs
from tests.evaluation.coverage import keep_rides
from tests.evaluation.results import Job, Results, fingerprint


def make(job: Job) -> tuple[Job, dict[str, Any] | str, float]:
    """Simulate one ride; return its result or traceback, and its cost [s of CPU]."""
    began = time.process_time()
    result: dict[str, Any] | str
    try:
        result = CASES[job.case].ride(job.seed, job.craft, job.variant)
    except Exception:  # a failing ride must not stop the others; it is shown and counted
        result = traceback.format_exc()
    return job, result, time.process_time() - began


def main() -> None:
    parser = argparse.ArgumentParser(
        prog="python -m tests.evaluation",
        description="Measure by simulated rides whether the figures and their intervals hold.",
        epilog="cases: " + "; ".join(f"{name}: {case.about}" for name, case in CASES.items()),
    )
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=1000, help="rides of the large cases")
    parser.add_argument("--only", help="names of cases, with commas between them")
    parser.add_argument(
        "--craft", choices=sorted(CRAFTS), help="one craft; else drawn for each ride"
    )
    parser.add_argument(
        "--out", type=Path, metavar="FILE.jsonl", help="results; done rides are kept"
    )
    parser.add_argument(
        "--keep", type=Path, metavar="DIR", help="save the rides of `coverage` there, or reuse them"
    )
    parser.add_argument("--processes", type=int, default=min(os.cpu_count() or 1, 2))
    chosen = parser.parse_args()
    keep_rides(chosen.keep)
    names = chosen.only.split(",") if chosen.only else list(CASES)
    unknown = [name for name in names if name not in CASES]
    if unknown:
        parser.error(f"--only {','.join(unknown)}: expected some of {', '.join(CASES)}")
    out = chosen.out or Path(tempfile.gettempdir()) / "evaluation" / "results.jsonl"
    out.parent.mkdir(parents=True, exist_ok=True)
    results = Results(out, fingerprint())
    every = {name: jobs(name, chosen.seed, chosen.count, chosen.craft) for name in names}
    print(f"results: {out}", file=sys.stderr)
    faults = sum(
        run(name, results.missing(every[name]), results, chosen.processes) for name in names
    )
    for name in names:
        print(CASES[name].table(results.of(every[name])))
    if faults:
        parser.exit(1, f"{faults} rides failed with an error and are in no table\n")


def run(name: str, missing: list[Job], results: Results, processes: int) -> int:
    """Simulate the missing rides of a case; return how many failed with an error."""
    began, cost_s, faults = time.monotonic(), 0.0, 0
    if not missing:
        return 0
    with multiprocessing.get_context("fork").Pool(processes) as pool:
        for number, (job, result, spent_s) in enumerate(pool.imap_unordered(make, missing), 1):
            cost_s += spent_s
            if isinstance(result, str):
                faults += 1
                print(f"{job.key}:\n{result}", file=sys.stderr)
            else:
                results.add(job, result)
            if number % 50 == 0 or number == len(missing):
                took_s = time.monotonic() - began
                print(
                    f"{name}: {number} of {len(missing)} rides, {took_s:.0f} s, "
                    f"{cost_s / number:.2f} s of CPU a ride",
                    file=sys.stderr,
                )
    return faults


if __name__ == "__main__":
    main()
