"""Rules common to all kinds of sources: when a source counts, and when it is silent.

A single damaged or foreign frame must not become an instrument, and an instrument that falls silent
must not look like a saving. The rules are applied at whole multiples of `CHOICE_S` of stream time,
to the stream up to then, so the outcome does not depend on the partition.
"""

from collections.abc import Callable

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.common_practice import BRIEF_S, GAP_S
from onboard.efficiency.meters.cumulative import CumulativeCurves


def is_brief(covered_s: float, most_s: Callable[[], float]) -> bool:
    """Return whether a source was seen only briefly.

    Parameters
    ----------
    covered_s
        Time that it covered [s].
    most_s
        Returns the longest time covered by any source of its kind [s]; called only if it decides.

    Examples
    --------
    >>> is_brief(0.0, lambda: 0.0), is_brief(4.0, lambda: 6.0), is_brief(4.0, lambda: 9.0)
    (False, False, True)
    >>> is_brief(10.0, lambda: 3600.0)
    False
    """
    return covered_s < BRIEF_S and covered_s < most_s() / 2


def covered_s(curves: CumulativeCurves, at_s: float | None) -> float:
    """Return the time that a meter covered up to a stream time, None for all of it [s]."""
    return curves.total("measured_s") if at_s is None else curves.at("measured_s", at_s)


class Coverage:
    """Time covered by one source's messages, counted only up to twice `BRIEF_S`."""

    def __init__(self) -> None:
        self.last_s = -np.inf
        """Stream time of the newest message [s]."""
        self.established = False
        """Whether it covered enough time to be no longer brief for good."""
        self._t_s = np.empty(0)
        self._covered_s = 0.0

    def fold(self, t_s: FloatArray) -> None:
        """Fold the times of messages [s], shape (n,); late ones are ignored."""
        known = t_s[np.isfinite(t_s)]
        if not len(known):
            return
        if not self.established:
            before = np.maximum.accumulate(np.append(self.last_s, known))
            self._t_s = np.append(self._t_s, known[known > before[:-1]])
            self._covered_s = _sum_of_steps_s(self._t_s)
            self.established = self._covered_s >= 2 * BRIEF_S
        self.last_s = max(self.last_s, float(known.max()))

    def covered_s(self, at_s: float | None = None) -> float:
        """Return the time covered up to a stream time, None for all of it [s]."""
        if at_s is None or not len(self._t_s) or at_s >= self._t_s[-1]:
            return self._covered_s
        return _sum_of_steps_s(self._t_s[self._t_s <= at_s])

    def last_before(self, t_s: float) -> float:
        """Return the time of the last message that `covered_s` counts up to a stream time [s]."""
        place = int(self._t_s.searchsorted(t_s, "right"))
        return float(self._t_s[place - 1]) if place else -np.inf


def _sum_of_steps_s(t_s: FloatArray) -> float:
    """Return the time between messages, gaps left out [s]."""
    steps = np.diff(t_s)
    return float(steps[steps <= GAP_S].sum())
