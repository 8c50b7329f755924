"""When a source counts, and when it is silent: the rules that all sources of figures share.

A single damaged or foreign frame must not become an instrument, and an instrument that falls silent
must not look like a saving. These rules are applied at whole multiples of `CHOICE_S` of stream
time, to what was heard up to then, so the outcome does not depend on how the stream is cut.
"""

import numpy as np

from onboard.block import FloatArray

CHOICE_S = 10.0
"""How often it is decided which sources count."""

BRIEF_S = 10.0
"""A source is brief until it has covered this much time, or half of what another has: two that
begin together both count at once. Common practice, no source."""

SILENT_S = 10.0
"""A source unheard for this long while others of its kind are heard is silent: twice the time after
which a reading is stale. Common practice, no source."""

CARRIED_FRACTION = 0.05
"""A source that carried less than this share of the energy since it was first heard may fall
silent: no more is lost than a current sensor's gain is commonly uncertain by. Common practice, no
source."""

STEP_S = 5.0
"""Steps longer than this cover no time; the same as `energy.GAP_S` and `distance.GAP_S`."""

SAID_S = 300.0
"""How long the alert stays that a source was left out as brief, or joined late."""


def is_brief(covered_s: float, most_s: float) -> bool:
    """Return whether a source was heard only briefly.

    Parameters
    ----------
    covered_s
        Time that it covered [s].
    most_s
        The most that one of its kind did [s].

    Examples
    --------
    >>> is_brief(0.0, 0.0), is_brief(4.0, 6.0), is_brief(4.0, 9.0), is_brief(10.0, 3600.0)
    (False, False, True, False)
    """
    return covered_s < min(BRIEF_S, most_s / 2)


class Heard:
    """Time covered by the messages of one source, as far as it matters: up to twice `BRIEF_S`."""

    def __init__(self) -> None:
        self.last_s = -np.inf
        """Stream time of the newest [s]."""
        self.well = False
        """Whether it has been heard for long enough that it can never be brief again."""
        self._t_s = np.empty(0)

    def fold(self, t_s: FloatArray) -> None:
        """Take in the times of messages [s], shape (n,); late ones are ignored."""
        known = t_s[np.isfinite(t_s)]
        if not len(known):
            return
        if not self.well:
            before = np.maximum.accumulate(np.append(self.last_s, known))
            self._t_s = np.append(self._t_s, known[known > before[:-1]])
            self.well = self.covered_s() >= 2 * BRIEF_S
        self.last_s = max(self.last_s, float(known.max()))

    def covered_s(self, at_s: float | None = None) -> float:
        """Return the time covered up to a stream time [s], None for all."""
        times = self._t_s if at_s is None else self._t_s[self._t_s <= at_s]
        steps = np.diff(times)
        return float(steps[steps <= STEP_S].sum())

    def last_before(self, t_s: float) -> float:
        """Return the last time up to a stream time [s], of those that tell how brief it was."""
        times = self._t_s[self._t_s <= t_s]
        return float(times[-1]) if len(times) else -np.inf
