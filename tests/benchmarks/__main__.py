"""`python -m tests.benchmarks [--only WORD ...] [--hours N]`: times both sides, prints ratios.

Machines differ and are noisy, so only ratios of CPU time within one run count: the median of
several rounds, with minimum and maximum. Results are in README.md here.
"""

import argparse
import tempfile
from collections.abc import Callable, Iterable
from pathlib import Path

from tests.benchmarks import (
    coach,
    crew,
    daemon,
    damaged,
    dashboard,
    engine,
    flood,
    imports,
    live,
    memory,
    onboard_log,
    resident,
    review,
    telemetry_log,
)
from tests.benchmarks.made_log import hour_log, long_log
from tests.benchmarks.rows import ROUNDS, timed
from tests.benchmarks.varied_log import varied_log

PARTS = (
    *("log", "onboard", "live", "flood", "engine", "memory", "damaged", "daemon", "crew"),
    *("dashboard", "review", "imports", "resident", "coach"),
)

PROFILE = """
[battery]
chemistry = "lfp"
cells = 8
capacity_ah = 50
"""


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--only", nargs="+", choices=PARTS, default=PARTS, help="run these parts")
    options.add_argument("--hours", type=int, default=10, help="length of the long log [h]")
    options.add_argument("--rounds", type=int, default=ROUNDS, help="rounds of each comparison")
    options.add_argument("--viewers", type=int, default=10, help="paired viewers of `crew`")
    options.add_argument("--seconds", type=float, default=10.0, help="how long `crew` rides [s]")
    options.add_argument("--speed", type=float, default=60.0, help="how `resident` plays [x]")
    options.add_argument("--link", choices=("udp", "pty"), default="udp", help="of `resident`")
    chosen = options.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        hour, long, profile = folder / "hour.tlog", folder / "long.tlog", folder / "craft.toml"
        frames = hour_log(hour)
        print(f"an hour: {frames} frames, {hour.stat().st_size / 1e6:.1f} MB", flush=True)
        if {"memory", "review"} & set(chosen.only):
            long_log(long, hour, chosen.hours)
            profile.write_text(PROFILE, encoding="utf-8")
        varied, onboard = folder / "varied.tlog", folder / "hour.bin"
        if "review" in chosen.only:
            varied_log(varied)
        if "onboard" in chosen.only:
            onboard_log.made_log(onboard)
        parts: dict[str, Callable[[], Iterable[str]]] = {
            "log": lambda: (timed(row, chosen.rounds) for row in telemetry_log.rows(hour)),
            "onboard": lambda: (timed(row, chosen.rounds) for row in onboard_log.rows(onboard)),
            "live": lambda: (timed(row, chosen.rounds) for row in live.rows(hour)),
            "flood": flood.lines,
            "engine": lambda: (timed(row, chosen.rounds) for row in engine.rows()),
            "memory": lambda: memory.lines(hour, long, chosen.hours),
            "damaged": lambda: damaged.lines(hour, folder),
            "daemon": lambda: daemon.lines(hour, folder),
            "crew": lambda: crew.lines(hour, folder, chosen.viewers, chosen.seconds),
            "coach": coach.lines,
            "dashboard": dashboard.lines,
            "review": lambda: review.lines(
                review.Logs(varied, hour, long, chosen.hours, profile), chosen.rounds
            ),
            "imports": imports.lines,
            "resident": lambda: resident.lines(
                hour, folder, chosen.hours, chosen.speed, chosen.link
            ),
        }
        for part in PARTS:
            if part in chosen.only:
                for line in parts[part]():
                    print(line, flush=True)


if __name__ == "__main__":
    main()
