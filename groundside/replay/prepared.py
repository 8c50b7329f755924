"""A saved ride made ready for going back and forth: states kept along the way, and its events.

A thread goes through the log once, ahead of whoever looks at it.
"""

import bisect
import logging
import math
import threading
from collections.abc import Iterable

import numpy as np

from groundside.connection.source import PlacedEvent
from groundside.replay.playing import Playing
from onboard.contract.alerts import Event
from onboard.contract.trip_line import TripLine
from onboard.errors import WattwakeError

STATES_MOST = 24
"""About 3.5 MB each, whatever the log's length; between two of them it is folded anew."""

STEPS = 240
SHORTEST_STEP_S = 5.0
"""Steps of the passage: events are looked for within one."""

LOOK_S = 1.0
"""An event is placed this exactly [s]."""

REST_S = 0.002
"""Left to the screen after each step."""

log = logging.getLogger("wattwake")


class Prepared:
    """What is known of a saved ride as a whole; it grows while the thread runs.

    Parameters
    ----------
    start
        The ride at the start of its log; it is kept there.
    duration_s
        How long the log lasts [s].
    """

    def __init__(self, start: Playing, duration_s: float) -> None:
        self._duration_s = duration_s
        self._every_s = duration_s / STATES_MOST
        # Always replaced as a whole, so that a reader in another thread sees one or the other.
        self._states: tuple[tuple[float, Playing], ...] = ((-1.0, start),)
        self._stream: list[tuple[float, float]] = []
        self.events: tuple[PlacedEvent, ...] = ()
        self.ready_fraction = 0.0
        self.trip_line: TripLine | None = None
        """Of the whole ride, once it is ready."""
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="prepare", daemon=True)

    def start(self) -> None:
        """Begin to go through the log."""
        self._thread.start()

    def stop(self) -> None:
        """Let it be."""
        self._stop.set()

    def wait(self) -> None:
        """Wait until all of it is ready."""
        self._thread.join()

    def playing_at(self, place_s: float) -> Playing:
        """Return a ride at a place of its log [s], of its own: from the last state before, on."""
        states = self._states
        nearest = bisect.bisect_right([at for at, _ in states], place_s) - 1
        playing = states[max(nearest, 0)][1].copied()
        playing.advance(place_s)
        return playing

    def place_of_distance(self, distance_m: float) -> float | None:
        """Return the place where the trip had made a distance; None while that is not known."""
        line, stream = self.trip_line, self._stream
        if line is None or not line.t_s or not stream:
            return None
        t_s = float(np.interp(distance_m, line.distance_m, line.t_s))
        places, times_s = zip(*stream, strict=True)
        return float(np.interp(t_s, times_s, places))

    def next_event_s(self, place_s: float) -> float | None:
        """Return the place of the next event, None behind the last."""
        later = (event.place_s for event in self.events if event.place_s > place_s + 0.5)
        return next(later, None)

    def event_before_s(self, place_s: float) -> float:
        """Return the place of the event before, the start where there is none."""
        earlier = [event.place_s for event in self.events if event.place_s < place_s - 2.0]
        return earlier[-1] if earlier else 0.0

    def _run(self) -> None:
        try:
            self._pass()
        except WattwakeError as problem:
            log.warning("%s: going back and forth is slow", problem)
        except Exception:  # whoever looks at the ride must not lose it over this
            log.exception("the log could not be made ready for going back and forth")

    def _pass(self) -> None:
        playing = self._states[0][1].copied()
        step_s = max(self._duration_s / STEPS, SHORTEST_STEP_S)
        place_s = 0.0
        found: list[PlacedEvent] = []
        while not playing.ended and not self._stop.is_set():
            before = playing.copied()
            place_s += step_s
            playing.advance(place_s if place_s < self._duration_s else math.inf)
            found += self._new_events(before, playing)
            self.events = tuple(sorted(found, key=lambda event: event.place_s))
            if not self._stream or playing.ride.t_s > self._stream[-1][1]:
                self._stream.append((playing.last_s, playing.ride.t_s))
            if playing.last_s - self._states[-1][0] >= self._every_s and not playing.ended:
                self._states = (*self._states, (min(place_s, self._duration_s), playing.copied()))
            self.ready_fraction = min(1.0, place_s / max(self._duration_s, step_s))
            self._stop.wait(REST_S)
        if not self._stop.is_set():
            self.trip_line = playing.ride.engine.trip_line
            self.ready_fraction = 1.0

    def _new_events(self, before: Playing, after: Playing) -> list[PlacedEvent]:
        """Return what came up between two places, with where it was first seen."""
        found = after.said[len(before.said) :]
        wanted = set(after.ride.engine.events) - set(before.ride.engine.events)
        if not wanted:
            return found
        walking, place_s = before, before.last_s
        while wanted and not walking.ended:
            place_s += LOOK_S
            walking.advance(min(place_s, after.last_s))
            for event in in_order(wanted & set(walking.ride.engine.events)):
                found.append(PlacedEvent(walking.last_s, event.alert))
                wanted.discard(event)
            if place_s >= after.last_s:
                break
        # What comes up only as the stream ends is seen there.
        return found + [PlacedEvent(after.last_s, event.alert) for event in in_order(wanted)]


def in_order(events: Iterable[Event]) -> list[Event]:
    """Return events by their time, those of one time by their code."""
    return sorted(events, key=lambda event: (event.t_s, event.alert.code.code))
