"""Index of a saved ride for seeking: checkpoints along the way, and its events.

A thread plays through the log once, ahead of the viewer.
"""

import bisect
import logging
import math
import threading
from collections.abc import Iterable

import numpy as np

from groundside.connection.source import PlacedEvent
from groundside.replay.playback import Playback
from onboard.contract.alerts import Event
from onboard.contract.trip_line import TripLine
from onboard.errors import WattwakeError

CHECKPOINTS_MOST = 24
"""Limit on checkpoints, each of about 3.5 MB whatever the log's length; between two of them the log
is folded again."""

STEPS = 240
SHORTEST_STEP_S = 5.0
"""Minimum step of the pass through the log [s]; a step with new events is searched for them."""

EVENT_STEP_S = 1.0
"""Resolution with which an event is placed [s]."""

REST_S = 0.002
"""Time left to the screen after each step [s]."""

log = logging.getLogger("wattwake")


class SeekIndex:
    """Index of a whole saved ride; it grows while the thread runs.

    Parameters
    ----------
    start
        A playback at the start of the log; it is not advanced.
    duration_s
        Length of the log [s].
    """

    def __init__(self, start: Playback, duration_s: float) -> None:
        self._duration_s = duration_s
        self._every_s = duration_s / CHECKPOINTS_MOST
        self.checkpoints: tuple[tuple[float, Playback], ...] = ((-1.0, start),)
        """Place [s] and playback, in order; replaced as a whole, for readers in other threads."""
        self._times: list[tuple[float, float]] = []
        self.events: tuple[PlacedEvent, ...] = ()
        self.ready_fraction = 0.0
        self.trip_line: TripLine | None = None
        """Of the whole ride, once the index is complete."""
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="seek-index", daemon=True)

    def start(self) -> None:
        """Start indexing."""
        self._thread.start()

    def stop(self) -> None:
        """Stop indexing."""
        self._stop.set()

    def wait(self) -> None:
        """Wait until the index is complete."""
        self._thread.join()

    def playback_at(self, place_s: float) -> Playback:
        """Return a new playback at a place [s], played from the nearest checkpoint before it."""
        checkpoints = self.checkpoints
        nearest = bisect.bisect_right([at for at, _ in checkpoints], place_s) - 1
        playback = checkpoints[max(nearest, 0)][1].copied()
        playback.advance(place_s)
        return playback

    def place_of_distance(self, distance_m: float) -> float | None:
        """Return the place [s] where the trip reached a distance; None until that is indexed."""
        line, times = self.trip_line, self._times
        if line is None or not line.t_s or not times:
            return None
        t_s = float(np.interp(distance_m, line.distance_m, line.t_s))
        places, times_s = zip(*times, strict=True)
        return float(np.interp(t_s, times_s, places))

    def next_event_s(self, place_s: float) -> float | None:
        """Return the place of the next event; None after the last."""
        later = (event.place_s for event in self.events if event.place_s > place_s + 0.5)
        return next(later, None)

    def event_before_s(self, place_s: float) -> float:
        """Return the place of the previous event; the start before the first."""
        earlier = [event.place_s for event in self.events if event.place_s < place_s - 2.0]
        return earlier[-1] if earlier else 0.0

    def _run(self) -> None:
        try:
            self._index()
        except WattwakeError as problem:
            log.warning("%s: going back and forth is slow", problem)
        except Exception:  # a failed index must not stop the replay
            log.exception("the log could not be made ready for going back and forth")

    def _index(self) -> None:
        playback = self.checkpoints[0][1].copied()
        step_s = max(self._duration_s / STEPS, SHORTEST_STEP_S)
        place_s = 0.0
        found: list[PlacedEvent] = []
        while not playback.ended and not self._stop.is_set():
            before = playback.copied()
            place_s += step_s
            playback.advance(place_s if place_s < self._duration_s else math.inf)
            found += self._new_events(before, playback)
            self.events = tuple(sorted(found, key=lambda event: event.place_s))
            if not self._times or playback.ride.t_s > self._times[-1][1]:
                self._times.append((playback.last_s, playback.ride.t_s))
            if playback.last_s - self.checkpoints[-1][0] >= self._every_s and not playback.ended:
                checkpoint = (min(place_s, self._duration_s), playback.copied())
                self.checkpoints = (*self.checkpoints, checkpoint)
            self.ready_fraction = min(1.0, place_s / max(self._duration_s, step_s))
            self._stop.wait(REST_S)
        if not self._stop.is_set():
            self.trip_line = playback.ride.engine.trip_line
            self.ready_fraction = 1.0

    def _new_events(self, before: Playback, after: Playback) -> list[PlacedEvent]:
        """Return the events between two places, each where it was first seen."""
        found = after.commands[len(before.commands) :]
        wanted = set(after.ride.engine.events) - set(before.ride.engine.events)
        if not wanted:
            return found
        walking, place_s = before, before.last_s
        while wanted and not walking.ended:
            place_s += EVENT_STEP_S
            walking.advance(min(place_s, after.last_s))
            for event in _sorted_events(wanted & set(walking.ride.engine.events)):
                found.append(PlacedEvent(walking.last_s, event.alert))
                wanted.discard(event)
            if place_s >= after.last_s:
                break
        # Alerts raised only when the stream ends are placed at its end.
        at_end = _sorted_events(wanted)
        return found + [PlacedEvent(after.last_s, event.alert) for event in at_end]


def _sorted_events(events: Iterable[Event]) -> list[Event]:
    """Return events by time, then by code."""
    return sorted(events, key=lambda event: (event.t_s, event.alert.code.code))
