"""Shares with their binomial limits, medians, and Markdown tables."""

from collections.abc import Sequence

import numpy as np
from scipy.stats import beta


def binomial_limits(hits: int, count: int) -> tuple[float, float]:
    """Return the exact 95 % limits of a share (Clopper and Pearson)."""
    low = float(beta.ppf(0.025, hits, count - hits + 1)) if hits else 0.0
    high = float(beta.ppf(0.975, hits + 1, count - hits)) if hits < count else 1.0
    return low, high


def share(hits: int, count: int) -> str:
    """Return a share as text: percent, with its limits."""
    if not count:
        return "-"
    low, high = binomial_limits(hits, count)
    return f"{100 * hits / count:.1f} % [{100 * low:.1f}, {100 * high:.1f}]"


def percentile(values: Sequence[float], percent: float) -> float:
    """Return a percentile; NaN if there are no values."""
    return float(np.percentile(values, percent)) if len(values) else float("nan")


def percent(value: float, digits: int = 1) -> str:
    """Return a fraction in percent; a dash if unknown."""
    return "-" if not np.isfinite(value) else f"{100 * value:.{digits}f} %"


def number(value: float, digits: int = 2) -> str:
    """Return a number; a dash if unknown."""
    return "-" if not np.isfinite(value) else f"{value:.{digits}f}"


def markdown(title: str, head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Return a Markdown table with its title."""
    lines = [f"### {title}", "", "| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    lines += ["| " + " | ".join(row) + " |" for row in rows]
    return "\n".join(lines) + "\n"
