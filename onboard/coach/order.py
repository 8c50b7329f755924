"""The order of the set-ups: there and back through the list, then as the comparison asks.

A B C C B A balances a steady drift: the mean time of each set-up is the same. What tells most after
that is known to the comparison (`NextRuns`); an order once begun is finished, as half of it would
be unbalanced, but for set-ups that have dropped out meanwhile.
"""

from collections import Counter
from collections.abc import Collection


class Order:
    """Tells which set-ups to ride next.

    Parameters
    ----------
    setups
        Labels of the trial's set-ups.
    """

    def __init__(self, setups: tuple[str, ...]) -> None:
        self._setups = setups
        self._order = (*setups, *reversed(setups))
        self._before: Counter[str] = Counter()

    def ahead(self, counts: Counter[str], drop: Collection[str] = ()) -> tuple[str, ...]:
        """Return the set-ups to ride from here on, in order; none once the order is done.

        Parameters
        ----------
        counts
            Laps or double runs of each so far.
        drop
            Set-ups that need no more runs.
        """
        ridden = counts - self._before
        left = []
        for setup in self._order:
            if ridden[setup] > 0:
                ridden[setup] -= 1
            elif setup not in drop:
                left.append(setup)
        return tuple(left)

    def go_on(self, counts: Counter[str], proposed: tuple[str, ...]) -> None:
        """Begin another order.

        Parameters
        ----------
        counts
            See `ahead`.
        proposed
            The set-ups to ride, in order; if none is of this trial, there and back once more.
        """
        order = tuple(setup for setup in proposed if setup in self._setups)
        self._order = order or (*self._setups, *reversed(self._setups))
        self._before = Counter(counts)
