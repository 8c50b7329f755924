"""Each kind of contradiction is found, and nothing else is; and a ride shows none."""

import math
from collections import Counter
from dataclasses import replace
from itertools import islice
from typing import Any

import pytest

from onboard.contract.advice import Stand, Standing, Target, WayHome
from onboard.contract.alerts import Alert, AlertCode
from onboard.contract.battery import BatteryState
from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import Figures, Reach, unknown_figures
from tests.evaluation.agreement import walk
from tests.evaluation.contradictions import contradictions, kind_of

NONE = Unknown(Reason.NO_TARGET)


def about(value: float, half: float) -> Figure:
    return Figure(value, value - half, value + half)


def cannot(best_m: float) -> Stand:
    return Stand(Standing.CANNOT_BE_MADE, to_go_m=18_520.0, best_m=best_m, best_speed_mps=1.8)


SURE = Target(
    speed_mps=2.1,
    power_w=NONE,
    distance_m=6000.0,
    wh_per_km=45.0,
    difference_fraction=-0.04,
    cue="hold",
    confidence_fraction=0.995,
    reason=Stand(Standing.AGAINST_ADVISED, difference_fraction=-0.04),
)
UNSURE = replace(SURE, cue="ease", confidence_fraction=0.4, distance_m=8200.0)
BEYOND = replace(UNSURE, distance_m=9500.0, confidence_fraction=0.01, reason=cannot(8000.0))

AGREED = replace(
    unknown_figures(NONE, 600.0, "plain"),
    speed_mps=2.0,
    battery=BatteryState(
        about(400.0, 40.0), about(0.5, 0.05), about(0.7, 0.05), about(0.05, 0.01), NONE
    ),
    range_m=Reach(about(8000.0, 900.0), about(9200.0, 700.0), about(9500.0, 800.0)),
    time_left_s=about(4000.0, 450.0),
    best_speed_mps=Figure(1.8, 1.6, 2.0),
    target=SURE,
    home=WayHome(1000.0, 20.0, about(50.0, 5.0), about(350.0, 42.0), 2.0, False),
    trip=replace(unknown_figures(NONE, 600.0, "plain").trip, max_speed_mps=2.5),
)
"""A screen on which all agree."""


def changed(part: str, **to: Any) -> Figures:
    whole = getattr(AGREED, part)
    return replace(AGREED, **{part: replace(whole, **to)})


def aimed(target: Target, **to: Any) -> Figures:
    return replace(AGREED, target=replace(target, **to))


def alerted(code: AlertCode) -> Figures:
    return replace(AGREED, alerts=(Alert(code, **dict.fromkeys(code.names, 0.0)),))


PLANTED: dict[str, Figures] = {
    "not finite": changed("home", bearing_deg=math.nan),
    "negative": changed("trip", elapsed_s=-1.0),
    "more than all": changed("battery", left_fraction=about(1.02, 0.1)),
    "outside its interval": replace(AGREED, best_speed_mps=Figure(1.8, 1.9, 2.0)),
    "range without energy": replace(
        changed("battery", left_wh=Figure(0.0, 0.0, 20.0)),
        time_left_s=NONE,
        home=NONE,
        target=NONE,
    ),
    "energy without time left": replace(
        AGREED, time_left_s=Figure(0.0, 0.0, 9.0), range_m=Reach(NONE, NONE, NONE), target=NONE
    ),
    "reserve reached with energy left": alerted(AlertCode.RESERVE_REACHED),
    "range at a speed never ridden": replace(AGREED, time_left_s=about(3000.0, 450.0)),
    "range now above the best": changed("range_m", best=about(7900.0, 900.0), target=NONE),
    "range target above the best": changed("range_m", target=about(9700.0, 700.0)),
    "chance without a range": replace(changed("range_m", now=NONE), target=replace(SURE, cue=NONE)),
    "chance below a sure range": aimed(SURE, confidence_fraction=0.95),
    "chance above a range too short": aimed(BEYOND, confidence_fraction=0.2),
    "chance low with range to spare": aimed(UNSURE, distance_m=7500.0),
    "chance high with too little range": aimed(UNSURE, confidence_fraction=0.6),
    "alert cannot_be_made where it can": alerted(AlertCode.CANNOT_BE_MADE),
    "alert cannot_be_made without a distance": replace(
        alerted(AlertCode.CANNOT_BE_MADE), target=NONE
    ),
    "advised speed not sure": changed("range_m", target=about(7800.0, 2000.0)),
    "sure at this speed and cannot be made": aimed(SURE, distance_m=7000.0, reason=cannot(7000.0)),
    "cannot be made though more is sure": aimed(
        BEYOND, distance_m=8200.0, confidence_fraction=0.4, reason=cannot(8400.0)
    ),
    "less sure at best than at this speed": aimed(BEYOND, reason=cannot(4400.0)),
    "more sure at best than its range": aimed(BEYOND, reason=cannot(9000.0)),
    "cue at rest": replace(AGREED, speed_mps=0.1),
    "cue without a range": replace(
        changed("range_m", now=NONE), target=replace(SURE, confidence_fraction=NONE)
    ),
    "ease where it is sure": aimed(SURE, cue="ease"),
    "hold where it is not sure": aimed(UNSURE, cue="hold"),
    "push where it is sure": aimed(SURE, cue="push"),
    "push where it is not sure": aimed(UNSURE, cue="push"),
    "alert turn_back without a way home": replace(alerted(AlertCode.TURN_BACK), home=NONE),
    "alert turn_back beside home": alerted(AlertCode.TURN_BACK),
    "margin is not the difference": changed("home", margin_wh=Figure(290.0, 280.0, 392.0)),
    "margin above all that is left": changed("home", margin_wh=Figure(350.0, 308.0, 490.0)),
    "margin below the worst case": changed("home", margin_wh=Figure(350.0, 200.0, 392.0)),
    "turn back with energy to spare": replace(
        changed("home", turn_back=True), alerts=(Alert(AlertCode.TURN_BACK),)
    ),
    "no turn back with too little": changed(
        "home", energy_wh=about(420.0, 40.0), margin_wh=about(-20.0, 60.0)
    ),
}
"""A screen for each kind, with that contradiction alone."""


@pytest.mark.parametrize(
    "screen", [AGREED, aimed(UNSURE), aimed(BEYOND)], ids=["sure", "unsure", "beyond"]
)
def test_a_screen_that_agrees_shows_none(screen: Figures) -> None:
    assert contradictions(screen) == []


@pytest.mark.parametrize("kind", PLANTED)
def test_each_kind_is_found_alone(kind: str) -> None:
    assert [kind_of(line) for line in contradictions(PLANTED[kind])] == [kind]


def test_a_rider_below_the_best_speed_may_be_pushed() -> None:
    slow = replace(aimed(UNSURE, cue="push"), speed_mps=1.2)
    assert contradictions(slow) == []


def test_what_is_unknown_contradicts_nothing() -> None:
    assert contradictions(unknown_figures(NONE, 0.0, "plain")) == []


@pytest.mark.slow
def test_no_moment_of_a_ride_shows_one() -> None:
    shown = Counter[str]()
    for figures in islice(walk(1, "tender", "a distance, an earlier curve"), 120):
        shown.update(kind_of(line) for line in contradictions(figures))
    assert not shown
