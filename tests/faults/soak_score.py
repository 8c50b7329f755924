"""Results of the soak: counts, distributions, and each failure with its circumstances."""

from collections import Counter, defaultdict

SHOWN_MOST = 8
"""Limit on the failures printed per kind; the rest is only counted."""


class Score:
    """Counts faults and collects failures."""

    def __init__(self) -> None:
        self.faults: Counter[str] = Counter()
        self.left_out: list[str] = []
        self.alerts: defaultdict[str, Counter[str]] = defaultdict(Counter)
        self.gaps_s: list[float] = []
        self.slowest: list[tuple[float, str]] = []
        self.starts_s: list[float] = []
        self.ends_s: list[float] = []
        self.failures: defaultdict[str, list[str]] = defaultdict(list)

    def fail(self, kind: str, text: str) -> None:
        """Record a failure; it is printed at once, and again at the end."""
        self.failures[kind].append(text)
        print(f"    FAIL {kind}: {text}", flush=True)

    def lines(self) -> list[str]:
        """Return the summary of faults and observations."""
        made = ", ".join(f"{name} {count}" for name, count in sorted(self.faults.items()))
        found = [f"faults: {made or 'none'}"]
        found += [f"left out: {text}" for text in self.left_out]
        for fault, codes in sorted(self.alerts.items()):
            seen = ", ".join(f"{code} {count}" for code, count in codes.most_common())
            found.append(f"alerts that came up with {fault}: {seen}")
        found.append(f"snapshots: {len(self.gaps_s)}, pauses {spread(self.gaps_s)}")
        over = sum(gap > 1.0 for gap in self.gaps_s)
        slow = "; ".join(f"{gap:.1f} s {where}" for gap, where in sorted(self.slowest)[:-6:-1])
        found.append(f"pauses over 1 s: {over}{f' ({slow})' if slow else ''}")
        found.append(f"from a start to the feed: {spread(self.starts_s)}")
        found.append(f"from a SIGTERM to the end: {spread(self.ends_s)}")
        return found

    def verdict(self) -> list[str]:
        """Return PASS, or FAIL with reasons."""
        if not self.failures:
            return ["PASS"]
        found = []
        for kind, texts in sorted(self.failures.items()):
            found.append(f"FAIL {kind}: {len(texts)}")
            found += [f"     {text}" for text in texts[:SHOWN_MOST]]
            if len(texts) > SHOWN_MOST:
                found.append(f"     and {len(texts) - SHOWN_MOST} more")
        return found


def spread(values: list[float]) -> str:
    """Describe a distribution in a few words [s]."""
    if not values:
        return "none"
    ordered = sorted(values)

    def at(part: float) -> float:
        return ordered[min(int(part * len(ordered)), len(ordered) - 1)]

    return (
        f"median {at(0.5):.2f} s, 99 % {at(0.99):.2f} s, "
        f"99.9 % {at(0.999):.2f} s, most {ordered[-1]:.2f} s"
    )
