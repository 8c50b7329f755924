"""Rough handling: the real dashboard in a terminal, pressed, tapped and resized at random.

    python -m tests.faults.rough --seed 1 --minutes 10 [--only watch,replay,demo]

It shares no code with the dashboard or with the tests that steer it. The exit code is 1 if a rule
was broken. The seed repeats the choices, not the moments at which they meet the program.
"""

import argparse
import random
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from tests.daemon_process import ROOT
from tests.faults.rough_feed import RoughFeed
from tests.faults.rough_rider import Rider, RuleBrokenError, Size
from tests.faults.rough_terminal import Terminal

SIZES: tuple[Size, ...] = ((40, 22), (60, 30), (80, 24), (120, 40), (200, 60))
KINDS = ("watch", "replay", "demo")
SHARES = {"watch": 0.6, "replay": 0.2, "demo": 0.2}
LOG = ("replay_logs/harbour_loop.tlog", "--profile", "replay_logs/harbour_loop.toml")
MEMORY_MOST_KB = {"watch": 112_000, "replay": 230_000, "demo": 112_000}
"""Limit on resident memory, however long it runs [kB]. It starts at 58 MB; the toolkit's caches,
which are bounded, fill with each new size until 85 to 95 MB, and a replay keeps its whole log."""
WARM_SHARE = 0.2
ENDS_WITHIN_S = 20.0


@dataclass
class Score:
    """What was done and found."""

    presses: int = 0
    resizes: int = 0
    left_by_tap: int = 0
    commands: int = 0
    episodes: Counter[str] = field(default_factory=Counter)
    memory: list[str] = field(default_factory=list)
    failures: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        done = ", ".join(f"{name} {count}" for name, count in sorted(self.episodes.items()))
        return (
            f"{self.presses} presses, {self.resizes} sizes, {self.commands} commands heard, "
            f"left by a tap {self.left_by_tap} times\nepisodes: {done}\n"
            f"memory when warm and at the end [MB]: {', '.join(self.memory)}"
        )


class Stint:
    """One program at one size for a while."""

    def __init__(self, kind: str, size: Size, seed: str, folder: Path, score: Score) -> None:
        self._kind, self._size, self._score = kind, size, score
        self._chance = random.Random(seed)
        self._folder = folder
        self._feed = RoughFeed(self._chance) if kind == "watch" else None
        self._rider = self._begin()

    def _begin(self) -> Rider:
        command = [sys.executable, "-m", "groundside"]
        if self._feed is not None:
            command += ["watch", f"127.0.0.1:{self._feed.port}"]
        elif self._kind == "replay":
            command += ["replay", *LOG, "--speed", "4"]
        else:
            command += ["demo"]
        touch = self._chance.choice("01")
        places = {"XDG_CONFIG_HOME": str(self._folder), "WATTWAKE_TOUCH": touch}
        environment = places | {"PYTHONPATH": str(ROOT)}
        terminal = Terminal(command, self._size, environment)
        self._rider = Rider(terminal, self._size, self._chance, self._feed)
        shown = terminal.wait_for(lambda text: ("ride" in text and "--" in text) or "W" in text)
        self._rider.must(shown, "it does not begin")
        self._rider.read_caution()
        return self._rider

    def run(self, seconds_s: float, episodes: Sequence[str] = ()) -> None:
        """Ride some episodes, and for a while, then leave."""
        began_s = time.monotonic()
        first_kb = 0
        try:
            for name in episodes:
                self._episode(name)
            while (passed_s := time.monotonic() - began_s) < seconds_s:
                self._episode(self._any())
                if not first_kb and passed_s > seconds_s * WARM_SHARE:
                    first_kb = self._rider.terminal.memory_kb()
            last_kb = self._rider.terminal.memory_kb()
            self._score.memory.append(f"{first_kb / 1000:.0f} {last_kb / 1000:.0f}")
            self._rider.must(last_kb < MEMORY_MOST_KB[self._kind], f"{first_kb} kB, now {last_kb}")
            self._leave()
        finally:
            self._count()
            self._rider.terminal.close()
            if self._feed is not None:
                self._feed.close()

    def _count(self) -> None:
        score, rider = self._score, self._rider
        score.presses += rider.presses
        score.resizes += rider.resizes
        rider.presses = rider.resizes = 0
        if self._feed is not None:
            score.commands += len(self._feed.commands)

    def _any(self) -> str:
        """Return an episode at random."""
        names = ["spray", "spray", "edges"]
        if self._feed is not None:
            names += ["wild", "wild", "link", "locked", "locked", "typing", "typing", "one_press"]
        if self._kind == "replay":
            names += ["paused", "paused"]
        return self._chance.choice(names)

    def _episode(self, name: str) -> None:
        rider = self._rider
        self._score.episodes[name] += 1
        rider.taps = False
        if name in ("spray", "wild", "link"):
            self._spray(name)
        else:
            getattr(rider, name)()
        if not self._left_by_tap():
            rider.steady()
            if not self._left_by_tap():
                self._sound(new_trip=name == "wild")

    def _spray(self, name: str) -> None:
        feed, chance = self._feed, self._chance
        if feed is not None:
            feed.wild = name == "wild"
            feed.stalls = name == "link" and chance.random() < 0.5
            feed.answers = chance.choice((True, True, False, None))
            if name == "link" and not feed.stalls:
                feed.drop()
        self._rider.spray(chance.uniform(1.0, 5.0))
        if feed is not None:
            feed.wild = feed.stalls = False
            feed.answers = True

    def _sound(self, *, new_trip: bool) -> None:
        """Fail unless all is well again; after wild figures the trip may have seemed a new one."""
        rider = self._rider
        rider.must_answer()
        if self._feed is not None:
            rider.must(rider.wait_for("437 W", 30.0), "the figures do not come back")
            rider.must(not self._feed.faulty, f"no command: {self._feed.faulty[:1]}")
            if new_trip:
                rider.read_caution()
        rider.must_answer()
        rider.caution_is_gone()

    def _left_by_tap(self) -> bool:
        """Return whether a tap hit the button that leaves; then begin anew."""
        terminal = self._rider.terminal
        if terminal.is_running:
            return False
        rider = self._rider
        rider.must(rider.taps and terminal.process.returncode == 0, "it ended")
        self._restored()
        self._count()
        terminal.close()
        self._score.left_by_tap += 1
        self._begin()
        return True

    def _leave(self) -> None:
        terminal = self._rider.terminal
        terminal.type(self._chance.choice(("q", "\x11", "\x03")))
        try:
            terminal.process.wait(ENDS_WITHIN_S)
        except TimeoutError:
            self._rider.must(False, "it does not leave")
        self._rider.must(terminal.process.returncode == 0, f"code {terminal.process.returncode}")
        self._restored()

    def _restored(self) -> None:
        terminal = self._rider.terminal
        left = terminal.not_restored()
        self._rider.must(not left, f"the terminal is not restored: {left}")
        self._rider.must(b"Traceback" not in terminal.all, "a traceback was printed")


def handle(
    seed: int,
    seconds_s: float,
    sizes: Sequence[Size],
    kinds: Sequence[str],
    episodes: Sequence[str] = (),
) -> Score:
    """Handle dashboards roughly, at each size for an equal time; return what was found.

    Parameters
    ----------
    seed
        Of all choices.
    seconds_s
        Time for all dashboards together [s].
    sizes, kinds
        Which dashboards.
    episodes
        What each rider begins with, however long it takes.
    """
    score = Score()
    whole = sum(SHARES[kind] for kind in kinds)
    with tempfile.TemporaryDirectory(prefix="rough-") as folder:
        for size in sizes:
            for kind in kinds:
                name = f"{seed} {kind} {size[0]}x{size[1]}"
                print(f"seed {name}", flush=True)
                stint_s = seconds_s * SHARES[kind] / whole / len(sizes)
                try:
                    Stint(kind, size, name, Path(folder) / name.replace(" ", "-"), score).run(
                        stint_s, episodes
                    )
                except RuleBrokenError as broken:
                    print(f"FAIL seed {name}: {broken}", flush=True)
                    score.failures.append(f"seed {name}: {broken}")
    return score


def main(argv: list[str] | None = None) -> int:
    """Read the command line and run."""
    parser = argparse.ArgumentParser(prog="tests.faults.rough", description=__doc__.split("\n")[0])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--only", type=lambda text: text.split(","), default=KINDS)
    parser.add_argument("--size", help="one of the sizes, such as 80x24")
    arguments = parser.parse_args(argv)
    sizes = [one for one in SIZES if arguments.size in (None, f"{one[0]}x{one[1]}")]
    score = handle(arguments.seed, arguments.minutes * 60.0, sizes, arguments.only)
    print(f"rough handling for {arguments.minutes:g} minutes, seed {arguments.seed}: {score}")
    print("FAIL" if score.failures else "PASS", flush=True)
    return 1 if score.failures else 0


if __name__ == "__main__":
    sys.exit(main())
