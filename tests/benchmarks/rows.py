"""A comparison of two ways to do the same work, timed in turns, and its line of text."""

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
        What is compared, in words.
    ours, theirs
        Do the work once, by this code and by the reference.
    must, aim
        Required and desired ratio of CPU time, theirs over ours; None if there is none.
    """

    name: str
    ours: Callable[[], object]
    theirs: Callable[[], object]
    must: float | None = None
    aim: float | None = None


def cpu_s(work: Callable[[], object]) -> float:
    """Return the CPU time of this process for some work [s]."""
    started = time.process_time()
    work()
    return time.process_time() - started


def timed(row: Row, rounds: int = ROUNDS, clock: Callable[..., float] = cpu_s) -> str:
    """Time both sides in turns; return a line with the median, least and greatest ratio."""
    pairs = [(clock(row.theirs), clock(row.ours)) for _ in range(rounds)]
    ratios = [theirs / ours for theirs, ours in pairs]
    median = statistics.median(ratios)
    span = f"{median:.1f}x ({min(ratios):.1f} to {max(ratios):.1f})"
    seconds = f"{statistics.median(ours for _, ours in pairs):.3f} s"
    return f"{row.name}: {span}, {seconds}{verdict(median, row.must, row.aim)}"


def verdict(ratio: float, must: float | None, aim: float | None) -> str:
    """Return in words whether a ratio is as required or as desired."""
    if must is None or aim is None:
        return ""
    reached = "aim reached" if ratio >= aim else "reached" if ratio >= must else "NOT REACHED"
    return f"; needed {must:g}x, hoped for {aim:g}x: {reached}"


given = partial
"""Binds a function to its arguments."""
