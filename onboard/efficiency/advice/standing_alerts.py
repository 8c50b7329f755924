"""Alerts over time: what raises one, and what ends it, must hold for a while, so none flickers."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray
from onboard.contract.alerts import Alert, AlertCode, Event
from onboard.contract.codes import Value

EVENTS_MOST = 500
"""Events kept of a trip; later ones are counted by nobody."""

Values = Mapping[str, Value]


@dataclass(frozen=True)
class Condition:
    """What is watched for.

    Parameters
    ----------
    code
        Of the alert.
    on_after_s, off_after_s
        How long it must hold, and be over, in a row.
    """

    code: AlertCode
    on_after_s: float = 5.0
    off_after_s: float = 5.0


class Watch:
    """One condition over time, second by second."""

    def __init__(self, condition: Condition) -> None:
        self.condition = condition
        self.on_since_s: float | None = None
        self.values: Values = dict.fromkeys(condition.code.names)
        """Of the alert, as of the last second at which the condition held."""
        self._other_since_s: float | None = None

    def fold(
        self,
        t_s: FloatArray,
        holds: npt.NDArray[np.bool_],
        values: Callable[[int], Values],
        stays: npt.NDArray[np.bool_] | None = None,
    ) -> list[Event]:
        """Take in seconds in order.

        Parameters
        ----------
        t_s
            Stream time [s], shape (n,).
        holds
            Whether the condition holds, shape (n,).
        values
            Gives the alert's values at the second with a given number.
        stays
            Whether it still holds once it is on, shape (n,); None: by `holds`.

        Returns
        -------
        list of Event
            What came up.
        """
        events: list[Event] = []
        stays = holds if stays is None else stays
        if self.on_since_s is None and self._other_since_s is None and not holds.any():
            return events
        for n in range(len(t_s)):
            now_s, on = float(t_s[n]), self.on_since_s is not None
            is_so = bool(stays[n] if on else holds[n])
            if is_so:
                self.values = values(n)
            if is_so == on:
                self._other_since_s = None
                continue
            if self._other_since_s is None:
                # A second that ends now began one second ago.
                self._other_since_s = now_s - 1.0
            wait_s = self.condition.off_after_s if on else self.condition.on_after_s
            if now_s - self._other_since_s < wait_s:
                continue
            if on:
                self.on_since_s = None
            else:
                self.on_since_s = self._other_since_s
                alert = Alert(self.condition.code, now_s - self.on_since_s, **self.values)
                events.append(Event(now_s, alert))
            self._other_since_s = None
        return events

    def end(self) -> None:
        """End it at once: what it was about is no more."""
        self.on_since_s = self._other_since_s = None

    def alert(self, now_s: float, present: Values | None = None) -> Alert | None:
        """Return the alert if it is on.

        Parameters
        ----------
        now_s
            Stream time [s].
        present
            Its values where they are figures that are shown beside it; None: as last looked at.
        """
        if self.on_since_s is None:
            return None
        since_s = max(now_s - self.on_since_s, 0.0)
        return Alert(self.condition.code, since_s, **(self.values if present is None else present))
