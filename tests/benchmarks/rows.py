"""What a benchmark is: two ways to the same end, timed by turns; and how it is told."""

import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

ROUNDS = 3


@dataclass(frozen=True)
class Row:
    """One comparison.

    Parameters
    ----------
    name
        What is compared with what.
    ours, theirs
        Do the work once.
    must, aim
        Ratios of CPU time, theirs to ours, that are needed and hoped for; None without.
    """

    name: str
    ours: Callable[[], object]
    theirs: Callable[[], object]
    must: float | None = None
    aim: float | None = None


def cpu_s(work: Callable[[], object]) -> float:
    """CPU time of this process that the work takes [s]."""
    started = time.process_time()
    work()
    return time.process_time() - started


def timed(row: Row, rounds: int = ROUNDS, clock: Callable[..., float] = cpu_s) -> str:
    """Time both sides by turns; give the median ratio with the least and the most."""
    pairs = [(clock(row.theirs), clock(row.ours)) for _ in range(rounds)]
    ratios = [theirs / ours for theirs, ours in pairs]
    median = statistics.median(ratios)
    span = f"{median:.1f}x ({min(ratios):.1f} to {max(ratios):.1f})"
    seconds = f"{statistics.median(ours for _, ours in pairs):.3f} s"
    return f"{row.name}: {span}, {seconds}{verdict(median, row.must, row.aim)}"


def verdict(ratio: float, must: float | None, aim: float | None) -> str:
    """Say how a ratio stands to what is needed and hoped for."""
    if must is None or aim is None:
        return ""
    reached = "aim reached" if ratio >= aim else "reached" if ratio >= must else "NOT REACHED"
    return f"; needed {must:g}x, hoped for {aim:g}x: {reached}"


given = partial
"""Ties work to what it works on."""
