"""What it costs to start: imports of `review` and of the daemon, over bare Python and numpy."""

import os
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Iterator

from tests.benchmarks.review import children_cpu_s

BARE = "import numpy"

PROGRAMS = {
    "review": "import groundside.reports.review.review_command, groundside.command_line",
    "the daemon": "import onboard.command_line, onboard.daemon.run_command, onboard.daemon.service",
}

ROUNDS = 5


def lines() -> Iterator[str]:
    """Yield the lines of this part: with cached bytecode, and without any."""
    with tempfile.TemporaryDirectory() as cache:
        cached = {"PYTHONPYCACHEPREFIX": cache, "PYTHONDONTWRITEBYTECODE": ""}
        for about, more in (("cached", cached), ("no bytecode", {"PYTHONDONTWRITEBYTECODE": "1"})):
            # onboard sets this before numpy is loaded.
            environment = os.environ | more | {"OPENBLAS_NUM_THREADS": "1"}
            codes = {"bare": BARE} | {name: f"{BARE}; {code}" for name, code in PROGRAMS.items()}
            taken: dict[str, list[float]] = {name: [] for name in codes}
            for _ in range(ROUNDS + 1):
                for name, code in codes.items():
                    taken[name].append(_cpu_s(code, environment))
            # The first round fills the cache.
            medians = {name: statistics.median(times[1:]) for name, times in taken.items()}
            for name, code in PROGRAMS.items():
                yield (
                    f"imports of {name}, {about}: {medians[name] - medians['bare']:.3f} s over "
                    f"{medians['bare']:.3f} s of bare Python and numpy, "
                    f"{_modules(code, environment)} modules"
                )


def _cpu_s(code: str, environment: dict[str, str]) -> float:
    run = [sys.executable, "-c", code]
    return children_cpu_s(lambda: subprocess.run(run, check=True, env=environment))


def _modules(code: str, environment: dict[str, str]) -> int:
    run = [sys.executable, "-c", f"{code}; import sys; print(len(sys.modules))"]
    done = subprocess.run(run, check=True, env=environment, capture_output=True, text=True)
    return int(done.stdout)
