"""The soak: random faults on a real daemon; its record and feed are compared with the truth.

    python -m tests.faults.soak --seed 1 --minutes 60 [--keep DIR]
                                [--only FAULT,...] [--without FAULT,...]

It shares no code with the daemon. Everything stays on this machine, in a separate folder, and the
soak ends by itself. The exit code is 1 if anything was wrong.
"""

import argparse
import contextlib
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from tests.faults.soak_attacks import ATTACKS
from tests.faults.soak_faults import FAULTS, Fault
from tests.faults.soak_final import finish
from tests.faults.soak_marks import MARKS, new_trip
from tests.faults.soak_run import GivenUpError, Soak

Faults = dict[str, tuple[Fault, float]]
ALL: Faults = {**FAULTS, **ATTACKS, **MARKS}
CALM_SHARE, CALM_S = 0.12, 26.0
"""Share of pauses among the faults, and their length, after which the trip must be known [s]."""
PAUSE_S = 0.2, 5.0
SETTLE_S = 7.0, 45.0
"""Least time for the craft to come to rest, and most time for the daemon to know its trip [s]."""
WAKE_S = 1.0


def chosen(only: Sequence[str], without: Sequence[str]) -> Faults:
    """Return the chosen faults; a name stands for all that begin with it.

    Examples
    --------
    >>> sorted(chosen(["kill"], ["kill_silent"]))
    ['kill', 'kill_early']
    """

    def meant(name: str, words: Sequence[str]) -> bool:
        return any(name == word or name.startswith(f"{word}_") for word in words)

    for word in (*only, *without):
        if not any(meant(name, [word]) for name in ALL):
            raise ValueError(f"{word}: no such fault: expected some of {', '.join(ALL)}")
    return {
        name: one
        for name, one in ALL.items()
        if (not only or meant(name, only)) and not meant(name, without)
    }


def attack(soak: Soak, faults: Faults, until_s: float) -> None:
    """Commit one fault after another until the time is up."""
    weights = [weight for _, weight in faults.values()]
    while (now_s := time.monotonic()) < until_s:
        soak.watch()
        if soak.judge.restarted_since_taken():
            soak.log(f"a trip that can be judged again: {new_trip(soak)}")
        if soak.chance.random() < CALM_SHARE:
            soak.wait(min(CALM_S, until_s - now_s))
            continue
        (name,) = soak.chance.choices(list(faults), weights)
        soak.judge.faults_begun.append((now_s, name))
        detail = faults[name][0](soak)
        if detail is None:
            soak.judge.faults_begun.pop()
        else:
            soak.score.faults[name] += 1
            soak.log(f"{name}: {detail}")
        soak.wait(soak.chance.uniform(*PAUSE_S))


def settle(soak: Soak) -> None:
    """Wait until everything is at rest, so that the daemon knows its trip."""
    soak.calm()
    soak.watch()
    soak.stream.craft.rests = True
    soak.log("settling")
    least_s, most_s = SETTLE_S
    soak.wait(least_s)
    viewer, begins_s = soak.run and soak.run.viewer, soak.judge.trip.begins_s
    if viewer is not None and begins_s:
        wanted_s = min(soak.stream.sent_for_s(begin_s) for begin_s in begins_s)
        viewer.wait_for(lambda one: (one["trip"]["elapsed_s"] or 0.0) > wanted_s, most_s - least_s)
    soak.watch()
    soak.stream.stop()
    soak.wait(WAKE_S)


def run(seed: int, minutes: float, keep: Path | None, faults: Faults) -> int:
    """Run the soak; return the exit code."""
    folder = Path(tempfile.mkdtemp(prefix="soak-"))
    soak = Soak(seed, folder, any(name == "link_unplug" for name in faults))
    try:
        if not soak.card.can_fill:
            soak.score.left_out.append("a full card: nothing can be mounted here")
        soak.begin()
        try:
            attack(soak, faults, time.monotonic() + 60.0 * minutes)
            settle(soak)
        except GivenUpError:
            return _verdict(soak, seed, minutes, ["given up: the daemon does not start"])
        last = soak.run
        assert last is not None
        soak.end(signal.SIGTERM, at_rest=True)
        return _verdict(soak, seed, minutes, finish(soak, last))
    except KeyboardInterrupt:
        print("stopped", flush=True)
        return 130
    finally:
        soak.clear_up()
        if keep is not None:
            shutil.copytree(folder, keep, dirs_exist_ok=True, ignore=_odd, symlinks=True)
        soak.card.remove()
        shutil.rmtree(folder, ignore_errors=True)


def _odd(folder: str, names: list[str]) -> list[str]:
    """Return the names of entries that are neither file nor folder, to be left out."""
    there = (Path(folder) / name for name in names)
    return [path.name for path in there if not (path.is_file() or path.is_dir())]


def _verdict(soak: Soak, seed: int, minutes: float, lines: list[str]) -> int:
    print(f"\nsoak of {minutes:g} minutes, seed {seed}")
    print(*lines, *soak.score.lines(), *soak.score.verdict(), sep="\n", flush=True)
    return 1 if soak.score.failures else 0


def main(argv: list[str] | None = None) -> int:
    """Read the command line and run."""
    parser = argparse.ArgumentParser(prog="tests.faults.soak", description=__doc__.split("\n")[0])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=5.0)
    parser.add_argument("--keep", type=Path, metavar="DIR", help="keep records and logs here")
    words = {"type": lambda text: text.split(","), "default": [], "metavar": "FAULT,..."}
    parser.add_argument("--only", help=f"some of {', '.join(ALL)}", **words)
    parser.add_argument("--without", **words)
    arguments = parser.parse_args(argv)
    with contextlib.suppress(ValueError):
        signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        faults = chosen(arguments.only, arguments.without)
    except ValueError as problem:
        parser.error(str(problem))
    return run(arguments.seed, arguments.minutes, arguments.keep, faults)


if __name__ == "__main__":
    sys.exit(main())
