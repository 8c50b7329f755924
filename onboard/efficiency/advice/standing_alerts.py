"""Alerts over time: debounced at onset and end, so that none flickers."""

from collections.abc import Callable, Mapping

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray
from onboard.contract.alerts import Alert, AlertCode, Event
from onboard.contract.codes import Value

EVENTS_MOST = 500
"""Events stored of a trip at most; later ones are dropped."""

Values = Mapping[str, Value]


class Watch:
    """One alert over time, second by second.

    Parameters
    ----------
    code
        Code of the alert.
    on_after_s, off_after_s
        How long its condition must persist, and be absent, without interruption.
    """

    def __init__(self, code: AlertCode, on_after_s: float, off_after_s: float) -> None:
        self._code, self._on_after_s, self._off_after_s = code, on_after_s, off_after_s
        self.on_since_s: float | None = None
        self.values: Values = dict.fromkeys(code.names)
        """Values of the alert, as of the last second at which its condition was true."""
        self._other_since_s: float | None = None

    def fold(
        self,
        t_s: FloatArray,
        holds: npt.NDArray[np.bool_],
        values: Callable[[int], Values],
        stays: npt.NDArray[np.bool_] | None = None,
    ) -> list[Event]:
        """Fold in seconds in order.

        Parameters
        ----------
        t_s
            Stream time [s], shape (n,).
        holds
            Whether the condition holds, shape (n,).
        values
            Returns the alert's values at the second with a given index.
        stays
            Whether the condition keeps a raised alert on, shape (n,); None: as `holds`.

        Returns
        -------
        list of Event
            Alerts raised.
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
                # The second that ends now began a second ago.
                self._other_since_s = now_s - 1.0
            wait_s = self._off_after_s if on else self._on_after_s
            if now_s - self._other_since_s < wait_s:
                continue
            if on:
                self.on_since_s = None
            else:
                self.on_since_s = self._other_since_s
                alert = Alert(self._code, now_s - self.on_since_s, **self.values)
                events.append(Event(now_s, alert))
            self._other_since_s = None
        return events

    def end(self) -> None:
        """End the alert at once: its subject is gone."""
        self.on_since_s = self._other_since_s = None

    def alert(self, now_s: float, present: Values | None = None) -> Alert | None:
        """Return the alert if it is on.

        Parameters
        ----------
        now_s
            Stream time [s].
        present
            Its values, read off the figures shown beside it; None: as last tested.
        """
        if self.on_since_s is None:
            return None
        since_s = max(now_s - self.on_since_s, 0.0)
        return Alert(self._code, since_s, **(self.values if present is None else present))
