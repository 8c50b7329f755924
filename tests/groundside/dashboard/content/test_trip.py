"""Content of the trip view: the place of a tap, the plots, the sums."""

import math
from typing import Any

import pytest

from groundside.connection.source import PlacedEvent
from groundside.dashboard.content.trip import PANELS, place_in_replay, trip_content
from groundside.dashboard.drawing.plot_content import AxisMark
from groundside.words.units import CHOICES
from onboard.contract.alerts import Alert, AlertCode
from onboard.contract.commands import Mark
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.contract.trip_line import TripLine
from tests.groundside.dashboard.steered_app import replayed, snapshot, state, waiting

QUIET = Unknown(Reason.QUIET, age_s=7.0)


def even_line(seconds: int = 600, gap: int = 0, every: int = 2) -> TripLine:
    """Return a trip at 2 m/s and 360 W from 10 s on, with a gap of `gap` seconds in its middle."""
    begin_s = 10.0
    rows = [(begin_s + n, 2.0 * n, 0.1 * n) for n in range(0, seconds, every)]
    middle = begin_s + seconds / 2
    rows = [row for row in rows if not middle <= row[0] < middle + gap]
    return TripLine(*zip(*rows, strict=True), every_s=float(every))


@pytest.mark.parametrize(
    ("units", "x", "distance_m"),
    [("km/h", 1.2, 1_200.0), ("kn", 0.5, 926.0), ("mph", 1.0, 1_609.344), ("km/h", 0.0, 0.0)],
)
def test_a_tap_leads_to_a_distance_in_the_riders_units(
    units: str, x: float, distance_m: float
) -> None:
    here = state(units=CHOICES[units], trip_line=even_line(), replay=replayed())
    assert place_in_replay(here, x, over_distance=True) == ("distance_m", pytest.approx(distance_m))


@pytest.mark.parametrize(
    ("t_s", "place_s", "x_min", "fraction"),
    [
        # The line begins at 10 s of stream time, which is place 0 if both run together.
        (431.2, 421.2, 5.0, 300.0 / 720.0),
        (431.2, 421.2, 0.0, 0.0),
        (431.2, 421.2, 99.0, 1.0),
        # The stream's time is 31.2 s ahead of the log's: the line began before the log.
        (431.2, 400.0, 5.0, (310.0 - 31.2) / 720.0),
        (431.2, 400.0, 0.0, 0.0),
    ],
)
def test_a_tap_leads_to_a_share_of_the_time(
    t_s: float, place_s: float, x_min: float, fraction: float
) -> None:
    shown = state(snapshot(t_s=t_s), trip_line=even_line(), replay=replayed(place_s))
    place = place_in_replay(shown, x_min, over_distance=False)
    assert place == ("fraction", pytest.approx(fraction))


def test_a_tap_leads_nowhere_without_a_replay_or_a_line() -> None:
    assert place_in_replay(state(trip_line=even_line()), 1.0, over_distance=False) is None
    assert place_in_replay(state(replay=replayed()), 1.0, over_distance=False) is None
    nothing = replayed(0.0, duration_s=0.0)
    assert (
        place_in_replay(state(trip_line=even_line(), replay=nothing), 1.0, over_distance=False)
        is None
    )


@pytest.mark.parametrize(
    ("units", "unit", "values"),
    [
        # 360 W; 2 m/s are 7.2 km/h, 3.89 kn; 50 Wh/km are 92.6 Wh/NM.
        ("km/h", ("W", "km/h", "Wh/km", "Wh"), (360.0, 7.2, 50.0)),
        ("kn", ("W", "kn", "Wh/NM", "Wh"), (360.0, 3.888, 92.6)),
    ],
)
def test_every_panel_in_the_riders_units(
    units: str, unit: tuple[str, ...], values: tuple[float, ...]
) -> None:
    shown = state(trip_line=even_line(), units=CHOICES[units])
    plots = trip_content(shown, PANELS, over_distance=False).plots
    assert tuple(plot.y.unit for plot in plots) == unit
    for plot, value in zip(plots, values, strict=False):
        known = [y for y in plot.trace.y if y is not None]
        assert known == [pytest.approx(value, rel=1e-3)] * len(known)
        assert plot.y.low <= value <= plot.y.high
    # 812 Wh are left and 93 were used: at the first point, where 0 Wh were, 905 were left.
    left = plots[3].trace.y
    assert left[0] == pytest.approx(905.0)
    assert left[-1] == pytest.approx(905.0 - 59.8)


@pytest.mark.parametrize(
    ("units", "over_distance", "last", "unit"),
    [
        ("km/h", False, 598.0 / 60.0, "min"),
        ("km/h", True, 1.196, "km"),
        ("kn", True, 1196.0 / 1852.0, "NM"),
    ],
)
def test_the_axis_is_time_or_distance(
    units: str, over_distance: bool, last: float, unit: str
) -> None:
    shown = state(trip_line=even_line(), units=CHOICES[units])
    (plot,) = trip_content(shown, ("power",), over_distance=over_distance).plots
    assert plot.trace.x[0] == 0.0
    assert plot.trace.x[-1] == pytest.approx(last)
    assert plot.x.unit == unit
    assert plot.x.high >= last


@pytest.mark.parametrize(
    ("seconds", "every"),
    # A gap longer than the span over which a mean is taken, and one that is shorter: 90 s there.
    [(600, 2), (3600, 10)],
)
def test_a_gap_leaves_a_gap(seconds: int, every: int) -> None:
    shown = state(trip_line=even_line(seconds, 60, every))
    behind_min = seconds / 120.0 + 1.0
    plots = trip_content(shown, PANELS, over_distance=False).plots
    for plot in plots:
        places = zip(plot.trace.x, plot.trace.y, strict=True)
        behind = [y for x, y in places if behind_min <= x < behind_min + 0.1]
        assert behind[0] is None
        # The energy left is known again at the next point, a mean only after a while.
        assert set(behind) == {None} or plot is plots[-1]


def test_the_place_and_the_events_of_a_saved_ride_are_marked() -> None:
    events = (
        PlacedEvent(110.0, Alert(AlertCode.WEED, 1.0, more_fraction=0.2)),
        PlacedEvent(230.0, Mark(1, "note", "here")),
    )
    replay = replayed(400.0, events=events)
    shown = state(snapshot(t_s=410.0), trip_line=even_line(), replay=replay, can_seek=True)
    (plot,) = trip_content(shown, ("power",), over_distance=False).plots
    # The stream is 10 s ahead of the log, and the line begins there: place 110 is minute 110/60.
    found = [(mark.letter, pytest.approx(mark.x, abs=0.04)) for mark in plot.marks]
    assert found == [("!", 110.0 / 60.0), ("!", 230.0 / 60.0), ("N", 400.0 / 60.0)]
    live = state(snapshot(t_s=410.0), trip_line=even_line())
    assert trip_content(live, ("power",), over_distance=False).plots[0].marks == ()


def test_a_stale_place_is_hatched() -> None:
    shown = state(trip_line=even_line(), can_seek=True, since_received_s=9.0)
    (plot,) = trip_content(shown, ("power",), over_distance=False).plots
    assert plot.marks == (
        AxisMark("N", pytest.approx(421.2 / 60.0, abs=0.04), top=math.inf, stale=True),
    )


@pytest.mark.parametrize(
    ("changes", "more", "expected"),
    [
        ({}, {}, "1.93 km in 7 min, 93 Wh (88 to 98), 48 Wh/km (46 to 51)"),
        (
            {},
            {"units": CHOICES["kn"]},
            "1.04 NM in 7 min, 93 Wh (88 to 98), 89 Wh/NM (85 to 94)",
        ),
        ({"trip__elapsed_s": QUIET, "trip__wh_per_km": QUIET}, {}, "1.93 km, 93 Wh (88 to 98)"),
        ({"trip__distance_m": QUIET, "trip__wh_per_km": QUIET}, {}, "93 Wh (88 to 98)"),
        (
            {f"trip__{name}": QUIET for name in ("distance_m", "energy_wh", "wh_per_km")},
            {},
            "nothing for 7 s",
        ),
        (
            {},
            {"since_received_s": 3.0},
            "1.93 km in 7 min, 93 Wh (88 to 98), 48 Wh/km (46 to 51) STALE",
        ),
    ],
)
def test_the_sums(changes: dict[str, Any], more: dict[str, Any], expected: str) -> None:
    ((item,),) = trip_content(state(snapshot(**changes), **more), (), over_distance=False).blocks
    assert item.text == expected


def test_an_empty_plot_has_its_reason() -> None:
    (plot,) = trip_content(waiting(), ("power",), over_distance=False).plots
    assert plot.why == "no trip yet: it begins with the first energy and distance counted"
    unknown = snapshot(battery=Unknown(Reason.NO_BATTERY))
    (left,) = trip_content(
        state(unknown, trip_line=even_line()), ("left",), over_distance=False
    ).plots
    assert left.why == "usable energy, as known now: no [battery] in the craft profile"


@pytest.mark.parametrize("over_distance", [False, True])
def test_the_bar_has_the_places_of_the_plot(over_distance: bool) -> None:
    # The log begins 31.2 s of stream time before its place 0: the line at 10 s, place -21.2 s.
    events = (PlacedEvent(100.0, Alert(AlertCode.NO_SPEED, 1.0)),)
    replay = replayed(400.0, ready_fraction=0.75, events=events)
    shown = state(snapshot(t_s=431.2), trip_line=even_line(), replay=replay, can_seek=True)
    (plot,) = trip_content(shown, ("power",), over_distance=over_distance, bar=True).plots
    assert plot.bar is not None
    # The line is at 2 m/s: a minute is 0.12 km; it ends at 598 s, before the log does.
    minutes = [(place_s + 31.2 - 10.0) / 60.0 for place_s in (400.0, 100.0, 0.75 * 720.0, 720.0)]
    meant = [min(x * 0.12, 1.196) for x in minutes] if over_distance else minutes
    bar = plot.bar
    found = [bar.now, *bar.events, bar.ready, bar.end]
    assert found == pytest.approx(meant, abs=1e-9)
    event, now = plot.marks
    assert (event.x, now.x) == (bar.events[0], bar.now)
    assert plot.x.high >= bar.end
    assert plot.title[1:] == ("playing 4x", "00:06:40 of 00:12:00")


def test_no_bar_in_a_live_ride_nor_where_the_frame_shows_it() -> None:
    live = trip_content(state(trip_line=even_line()), ("power",), over_distance=False, bar=True)
    assert live.plots[0].bar is None
    shown = state(trip_line=even_line(), replay=replayed(), can_seek=True)
    assert trip_content(shown, ("power",), over_distance=False).plots[0].bar is None
