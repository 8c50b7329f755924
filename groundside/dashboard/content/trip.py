"""Content of the trip view: where the energy went, over time or distance."""

import math
from bisect import bisect_left
from collections.abc import Callable

from groundside.connection.source import ReplayState
from groundside.dashboard.content.frame import replay_content
from groundside.dashboard.content.items import Block, Item
from groundside.dashboard.drawing.plot_content import (
    NOW,
    Axis,
    AxisMark,
    PlotContent,
    TimeBar,
    Trace,
)
from groundside.dashboard.drawing.ticks import round_top
from groundside.dashboard.view_state import ViewState
from groundside.studies.trip_series import TripSeries, trip_series
from groundside.words.figures import (
    consumption_text,
    cost_text,
    distance_text,
    duration_text,
    in_brackets,
    whole,
)
from groundside.words.readings import reading
from groundside.words.reasons import reason_text
from onboard.contract.figure import Estimate, Unknown, within
from onboard.dataclass import dataclass

PANELS = ("power", "speed", "cost", "left")
LABEL_COLUMNS = 5
"""Width of the axis numbers in every panel [cells], so that stacked panels line up."""
EVENTS_MOST = 40
Column = tuple[float | None, ...]


@dataclass(frozen=True)
class TripContent:
    """The content of the trip view at one moment: a plot per panel, and the sums in words."""

    plots: tuple[PlotContent, ...]
    blocks: tuple[Block, ...]


def trip_content(
    state: ViewState, panels: tuple[str, ...], *, over_distance: bool, bar: bool = False
) -> TripContent:
    """Return the content of the trip view.

    Parameters
    ----------
    state
        The present state.
    panels
        Those of `PANELS` to show.
    over_distance
        Whether the x axis is distance instead of time.
    bar
        Whether to show a replay's time bar under each plot, and its place in words above it.
    """
    series = trip_series(state.trip_line)
    if len(series.t_s) < 2:
        why = "no trip yet: it begins with the first energy and distance counted"
        return TripContent(tuple(PlotContent(why=why) for _ in panels), (_sums(state),))
    places = _Places(state, series, over_distance, bar)
    return TripContent(
        tuple(_panel(panel, state, series, places) for panel in panels), (_sums(state),)
    )


def place_in_replay(state: ViewState, x: float, *, over_distance: bool) -> tuple[str, float] | None:
    """Return the place to seek to for a tap: a `distance_m`, or a `fraction` of the time.

    Parameters
    ----------
    state
        The present state.
    x
        Place of the tap, in axis units.
    over_distance
        Whether the x axis is distance.
    """
    if over_distance:
        return "distance_m", x * state.units.distance_unit_m
    line_t_s, replay = state.trip_line.t_s, state.replay
    if not line_t_s or replay is None or replay.duration_s <= 0.0:
        return None
    fraction = (line_t_s[0] + 60.0 * x - _ahead_s(state, replay)) / replay.duration_s
    return "fraction", min(1.0, max(0.0, fraction))


def _ahead_s(state: ViewState, replay: ReplayState) -> float:
    """Return the offset from the place in a saved log to stream time [s]."""
    return state.snapshot.t_s - replay.t_s


def place_words(replay: ReplayState | None) -> tuple[str, ...]:
    """Return a replay's pace and place in words."""
    if replay is None:
        return ()
    content = replay_content(replay)
    return content.status, content.at, f"of {content.of}"


class _Places:
    """The x axis and the marks on it."""

    def __init__(
        self, state: ViewState, series: TripSeries, over_distance: bool, with_bar: bool
    ) -> None:
        self._state, self._series, self._over_distance = state, series, over_distance
        self.x = tuple(map(self._x_of, range(len(series.t_s))))
        unit = state.units.distance_name if over_distance else "min"
        bar = self._bar()
        self.axis = Axis(0.0, max(self.x[-1], bar.end if bar else 0.0, 1e-3), unit)
        self.bar = bar if with_bar else None
        self.words = () if self.bar is None else place_words(state.replay)
        self.marks = (*self._events(), *self._now())

    def _x_of(self, point: int) -> float:
        if self._over_distance:
            return self._state.units.distance(self._series.distance_m[point])
        return (self._series.t_s[point] - self._series.t_s[0]) / 60.0

    def _at(self, t_s: float) -> float:
        """Return the x of a stream time."""
        times = self._series.t_s
        if not self._over_distance:
            return max(0.0, (t_s - times[0]) / 60.0)
        after = min(max(1, bisect_left(times, t_s)), len(times) - 1)
        share = (t_s - times[after - 1]) / (times[after] - times[after - 1])
        return self.x[after - 1] + min(1.0, max(0.0, share)) * (self.x[after] - self.x[after - 1])

    def _now(self) -> tuple[AxisMark, ...]:
        if not (self._state.can_seek and self._state.started):
            return ()
        now = self._at(self._state.snapshot.t_s)
        return (AxisMark(NOW, now, top=math.inf, stale=self._state.stale),)

    def _bar(self) -> TimeBar | None:
        """Return a replay's time bar: as long as the ride, or over distance as long as the line."""
        state, replay = self._state, self._state.replay
        if replay is None or not (state.can_seek and state.started):
            return None
        ahead_s = _ahead_s(state, replay)
        ready_s = replay.ready_fraction * replay.duration_s
        now, ready, end, *events = (
            self._at(place_s + ahead_s)
            for place_s in (
                *(replay.t_s, ready_s, replay.duration_s),
                *(event.place_s for event in replay.events[:EVENTS_MOST]),
            )
        )
        return TimeBar(now, ready, end, tuple(events))

    def _events(self) -> tuple[AxisMark, ...]:
        replay = self._state.replay
        if replay is None:
            return ()
        ahead_s = _ahead_s(self._state, replay)
        return tuple(
            AxisMark("!", self._at(event.place_s + ahead_s))
            for event in replay.events[:EVENTS_MOST]
        )


def _panel(panel: str, state: ViewState, series: TripSeries, places: _Places) -> PlotContent:
    units = state.units
    columns: dict[str, tuple[Column, Callable[[float], float], str, str]] = {
        "power": (series.power_w, float, "W", "battery power"),
        "speed": (series.speed_mps, units.speed, units.speed_name, "speed"),
        "cost": (series.wh_per_km, units.consumption, units.consumption_name, "consumption"),
        "left": (_left(state, series), float, "Wh", "usable energy, as known now"),
    }
    column, convert, unit, title = columns[panel]
    y = tuple(None if value is None else convert(value) for value in column)
    known = [value for value in y if value is not None]
    if not known:
        why = "nothing to draw yet"
        if panel == "left" and isinstance(left := _left_wh(state), Unknown):
            why = reason_text(left, units)
        return PlotContent(title=(f" {title}",), why=f"{title}: {why}")
    return PlotContent(
        title=(f" {title}", *places.words),
        x=places.axis,
        y=Axis(min(0.0, *known), round_top(_top(known, panel)), unit),
        trace=Trace(places.x, y),
        marks=places.marks,
        bar=places.bar,
        label_columns=LABEL_COLUMNS,
    )


def _top(known: list[float], panel: str) -> float:
    """Return the end of the y axis; consumption when hardly moving must not flatten the rest."""
    if panel != "cost":
        return max(known)
    middle = sorted(known)[len(known) // 2]
    return min(max(known), 3.0 * middle) if middle > 0.0 else max(known)


def _left_wh(state: ViewState) -> Estimate:
    return within(state.snapshot.battery, lambda battery: battery.left_wh)


def _left(state: ViewState, series: TripSeries) -> tuple[float | None, ...]:
    """Return the energy left at each point: the energy left now plus that used since then."""
    left, used_now = _left_wh(state), state.snapshot.trip.energy_wh
    if isinstance(left, Unknown) or isinstance(used_now, Unknown):
        return (None,) * len(series.t_s)
    at_first = left.value + used_now.value
    return tuple(None if used is None else at_first - used for used in series.used_wh)


def _sums(state: ViewState) -> Block:
    trip, units = state.snapshot.trip, state.units
    distance, energy, cost = (
        reading(figure, units) for figure in (trip.distance_m, trip.energy_wh, trip.wh_per_km)
    )
    parts = []
    if distance.value is not None:
        made = distance_text(distance.value, units)
        lasts = trip.elapsed_s
        parts.append(made if isinstance(lasts, Unknown) else f"{made} in {duration_text(lasts)}")
    if energy.value is not None:
        parts.append(f"{whole(energy.value)} Wh{in_brackets(energy, whole)}")
    if cost.value is not None:
        ends = in_brackets(cost, lambda value: consumption_text(value, units))
        parts.append(f"{cost_text(cost.value, units)}{ends}")
    if not parts:
        return (Item("trip", distance.why),)
    return (Item("trip", ", ".join(parts) + (" STALE" if state.stale else ""), strong=True),)
