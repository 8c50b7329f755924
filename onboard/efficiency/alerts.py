"""Alerts: what the rider should know, each with a plain sentence, without flicker.

A condition must hold for a while before it is said, and be over for a while before it is not.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray

EVENTS_MOST = 500
"""Events kept of a trip; later ones are counted by nobody."""


@dataclass(frozen=True)
class Alert:
    """One thing that the rider should know.

    Parameters
    ----------
    code
        A name that programs can tell it by.
    level
        "note", "warning" or "danger".
    text
        A plain sentence.
    since_s
        For how long it has been so [s].
    sources
        What it is about, where that is a source that can be named; see the mark `unplugged`.
    """

    code: str
    level: str
    text: str
    since_s: float
    sources: tuple[str, ...] = ()


@dataclass(frozen=True)
class Event:
    """An alert that came up, at stream time `t_s`."""

    t_s: float
    code: str
    text: str


@dataclass(frozen=True)
class Condition:
    """What is watched for.

    Parameters
    ----------
    code, level
        As of the alert.
    on_after_s, off_after_s
        How long it must hold, and be over, in a row.
    """

    code: str
    level: str
    on_after_s: float = 5.0
    off_after_s: float = 5.0


class Watch:
    """One condition over time, second by second."""

    def __init__(self, condition: Condition) -> None:
        self.condition = condition
        self.on_since_s: float | None = None
        self.text = ""
        self.sources: tuple[str, ...] = ()
        self._other_since_s: float | None = None

    def fold(
        self,
        t_s: FloatArray,
        holds: npt.NDArray[np.bool_],
        text: Callable[[int], str],
        stays: npt.NDArray[np.bool_] | None = None,
    ) -> list[Event]:
        """Take in seconds in order.

        Parameters
        ----------
        t_s
            Stream time [s], shape (n,).
        holds
            Whether the condition holds, shape (n,).
        text
            What to say of the second with a given number.
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
            if bool(stays[n] if on else holds[n]) == on:
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
                self.on_since_s, self.text = self._other_since_s, text(n)
                events.append(Event(now_s, self.condition.code, self.text))
            self._other_since_s = None
        return events

    def alert(self, now_s: float) -> Alert | None:
        """Give the alert if it is on at stream time `now_s` [s]."""
        if self.on_since_s is None:
            return None
        condition = self.condition
        since_s = max(now_s - self.on_since_s, 0.0)
        return Alert(condition.code, condition.level, self.text, since_s, self.sources)
