"""Content of the runs view: the open run, its power, what a run lacks, what is next."""

from typing import Any

import pytest

from groundside.dashboard.content.double_runs import next_step
from groundside.dashboard.content.runs import (
    RULE,
    OpenRun,
    PowerCue,
    RunLine,
    asks_for_charge,
    missing,
    open_run,
    runs_content,
)
from groundside.dashboard.content.setups import (
    known_setups,
    next_letter,
    setup_in_force,
    valid_label,
)
from groundside.words.units import CHOICES
from onboard.contract.alerts import Alert, AlertCode
from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import Run
from tests.groundside.dashboard.steered_app import TO_GO, snapshot, state, waiting
from tests.made_snapshot import COACH, RUN, TARGET, changed, made_snapshot

KMH, KN = CHOICES["km/h"], CHOICES["kn"]
QUIET = Unknown(Reason.QUIET, age_s=7.0)
NOT_STEADY = Unknown(Reason.NOT_STEADY)
NO_DRIVE = Unknown(Reason.NO_DRIVE)
OPEN = changed(RUN, number=2, open=True, seconds_s=20.7, steady_s=12.3, long_enough=False)


@pytest.mark.parametrize(
    ("changes", "lacks"),
    [
        ({}, ""),
        ({"setup": "as is"}, "no set-up named"),
        ({"drive__rpm": 0.4}, "the motor is stopped"),
        ({"drive__rpm": -300.0}, ""),
        # motor turns, where known, are more informative than power
        ({"power_w": 5.0}, ""),
        ({"power_w": 19.9, "drive": NO_DRIVE}, "the motor is stopped"),
        ({"power_w": 20.0, "drive": NO_DRIVE}, ""),
        ({"power_w": QUIET}, "battery power is unknown (nothing for 7 s)"),
        ({"power_w": QUIET, "drive": NO_DRIVE}, "battery power is unknown (nothing for 7 s)"),
        ({"setup": "as is", "drive__rpm": 0.0}, "no set-up named and the motor is stopped"),
    ],
)
def test_what_a_run_lacks(changes: dict[str, Any], lacks: str) -> None:
    shown = made_snapshot(**changes)
    assert missing(shown, KMH) == lacks
    # It is shown while a run is open, and not from stale figures.
    assert runs_content(state(changed(shown, runs=(OPEN,)))).missing == lacks
    assert runs_content(state(shown)).missing == ""
    assert runs_content(state(changed(shown, runs=(OPEN,)), since_received_s=9.0)).missing == ""


@pytest.mark.parametrize(
    ("run", "shown"),
    [
        (
            {},
            OpenRun("2", "A", "20", "12", fraction=24 / 60, more="18 s more"),
        ),
        (
            {"steady_s": 29.6},
            OpenRun("2", "A", "20", "29", fraction=57 / 60, more="1 s more"),
        ),
        (
            {"steady_s": 31.0},
            OpenRun("2", "A", "20", "31", fraction=57 / 60, more="a little more"),
        ),
        ({"long_enough": True}, OpenRun("2", "A", "20", "12", fraction=1.0, long_enough=True)),
        (
            {"steady_s": 0.0},
            OpenRun("2", "A", "20", "0", fraction=0.0, more="30 s more"),
        ),
    ],
)
def test_the_open_run(run: dict[str, Any], shown: OpenRun) -> None:
    assert runs_content(state(snapshot(runs=(RUN, changed(OPEN, **run))))).open == shown


def test_a_run_that_is_not_steady_has_its_reason() -> None:
    nothing = snapshot(
        runs=(changed(OPEN, steady_s=0.0),),
        steady__seconds_s=0.0,
        steady__power_w=NOT_STEADY,
        steady__speed_mps=NOT_STEADY,
    )
    content = runs_content(state(nothing))
    assert content.open is not None
    assert content.open.why == "power, speed or course is changing"
    assert content.steady == "not steady: power, speed or course is changing"


@pytest.mark.parametrize(
    ("more", "expected"),
    [
        ({}, "steady for 40 s  410 W  7.9 km/h"),
        ({"units": KN}, "steady for 40 s  410 W  4.3 kn"),
        ({"since_received_s": 9.0}, "steady or not: the data are stale"),
    ],
)
def test_the_steady_stretch_now(more: dict[str, Any], expected: str) -> None:
    assert runs_content(state(**more)).steady == expected


@pytest.mark.parametrize(
    ("changes", "more", "cue"),
    [
        ({}, {}, PowerCue("412 W")),
        ({"power_w": QUIET}, {}, PowerCue("--")),
        ({"target": TO_GO}, {}, PowerCue("412 W")),
        ({"target": TARGET}, {}, PowerCue("412 W", "320 W", "9 % over", "ease")),
        (
            {"target": changed(TARGET, cue=QUIET)},
            {},
            PowerCue("412 W", "320 W", "no cue: nothing for 7 s"),
        ),
        (
            {"target": changed(TARGET, difference_fraction=QUIET)},
            {},
            PowerCue("412 W", "320 W", "no cue: nothing for 7 s"),
        ),
        ({"target": TARGET}, {"since_received_s": 9.0}, PowerCue("--", "320 W", "no cue: stale")),
        # Found: PUSH, just after a propeller was swapped.
        (
            {"target": changed(TARGET, cue="push"), "power_w": 0.0},
            {},
            PowerCue("0 W", "320 W", "no cue: the motor is stopped"),
        ),
    ],
)
def test_the_power_against_its_target(
    changes: dict[str, Any], more: dict[str, Any], cue: PowerCue
) -> None:
    assert runs_content(state(snapshot(**changes), **more)).power_cue == cue


@pytest.mark.parametrize(
    ("run", "units", "line"),
    [
        (
            {},
            KMH,
            RunLine("1", "A", "64", "402", "7.9", "083", "51", "48 to 54", "±3", True),
        ),
        # 51 Wh/km are 94.45 Wh/NM, 5 % of it 4.72: rounded up, so that it promises no more
        (
            {},
            KN,
            RunLine("1", "A", "64", "402", "4.3", "083", "94", "90 to 99", "±5", True),
        ),
        (
            {"wh_per_km": Figure(51.0), "long_enough": False, "course_deg": 359.8},
            KMH,
            RunLine("1", "A", "64", "402", "7.9", "000", "51"),
        ),
        (
            dict.fromkeys(("power_w", "speed_mps", "course_deg", "wh_per_km"), QUIET),
            KMH,
            RunLine("1", "A", "64", "--", "--", "--", "--", long_enough=True),
        ),
    ],
)
def test_a_run_that_has_ended(run: dict[str, Any], units: Any, line: RunLine) -> None:
    content = runs_content(state(snapshot(runs=(changed(RUN, **run), OPEN)), units=units))
    assert content.lines == (line,)
    assert (content.speed_name, content.consumption_name) == (
        units.speed_name,
        units.consumption_name,
    )


def test_the_newest_run_is_on_top() -> None:
    runs = tuple(changed(RUN, number=number) for number in (1, 2, 3))
    assert [line.number for line in runs_content(state(snapshot(runs=runs))).lines] == [
        "3",
        "2",
        "1",
    ]


BACK = changed(RUN, number=2, course_deg=260.0)


@pytest.mark.parametrize(
    ("runs", "setup", "expected"),
    [
        ((), "A", ""),
        ((RUN,), "A", "Next: run A back towards 263°, at about 402 W."),
        ((RUN,), "B", ""),
        (
            (changed(RUN, setup="as is"),),
            "",
            "Next: run this set-up back towards 263°, at about 402 W.",
        ),
        ((RUN, BACK), "A", "A: 1 double run. Each more tells a smaller difference."),
        (
            (RUN, BACK, BACK, RUN),
            "A",
            "A: 2 double runs. Each more tells a smaller difference.",
        ),
        ((RUN, BACK, RUN), "A", "Next: run A back towards 263°, at about 402 W."),
        # neither a run too short, nor one still open, nor another power, nor a bend
        (
            (RUN, changed(BACK, long_enough=False)),
            "A",
            "Next: run A back towards 263°, at about 402 W.",
        ),
        ((RUN, changed(BACK, open=True)), "A", "Next: run A back towards 263°, at about 402 W."),
        (
            (RUN, changed(BACK, power_w=450.0)),
            "A",
            "Next: run A back towards 080°, at about 450 W.",
        ),
        (
            (RUN, changed(BACK, course_deg=232.0)),
            "A",
            "Next: run A back towards 052°, at about 402 W.",
        ),
        (
            (RUN, changed(BACK, course_deg=QUIET)),
            "A",
            "Next: run A back towards 263°, at about 402 W.",
        ),
        ((changed(RUN, power_w=QUIET),), "A", ""),
    ],
)
def test_what_is_next(runs: tuple[Run, ...], setup: str, expected: str) -> None:
    assert next_step(runs, setup) == expected
    content = runs_content(state(snapshot(runs=runs, setup=setup or "as is")))
    assert content.next == (expected or RULE)


def test_why_no_run_can_be_started() -> None:
    assert runs_content(state(can_command=True)).why_no_runs == ""
    assert runs_content(state(can_seek=True)).why_no_runs.startswith("A saved ride")
    assert runs_content(state()).why_no_runs.startswith("No daemon")


def test_which_run_is_open() -> None:
    assert open_run(snapshot(runs=(RUN, OPEN))) is OPEN
    assert open_run(snapshot(runs=(OPEN, RUN))) is OPEN
    assert open_run(snapshot(runs=(RUN,))) is None
    assert open_run(waiting().snapshot) is None


@pytest.mark.parametrize(
    ("alerts", "asks"),
    [
        ((), False),
        ((Alert(AlertCode.CHARGE_UNSAID, 1.0, since_utc_s=1e9),), True),
        (
            (Alert(AlertCode.NO_SPEED, 1.0), Alert(AlertCode.CHARGE_UNSAID, 1.0, since_utc_s=None)),
            True,
        ),
        ((Alert(AlertCode.NO_SPEED, 1.0),), False),
    ],
)
def test_whether_the_charge_is_asked_for(alerts: tuple[Alert, ...], asks: bool) -> None:
    assert asks_for_charge(snapshot(alerts=alerts)) is asks


def test_set_ups_to_choose_from() -> None:
    shown = snapshot(
        setup="C",
        setups=("B", "as is"),
        runs=(RUN, changed(RUN, setup="as is"), changed(RUN, setup="")),
    )
    assert known_setups(shown) == ("A", "B", "C")
    # Any propeller of the trial is at hand, also before its first run.
    assert known_setups(changed(shown, coach=COACH)) == ("A", "B", "C", "slim")
    assert setup_in_force(shown) == "C"
    assert known_setups(waiting().snapshot) == ()
    assert setup_in_force(waiting().snapshot) == ""
    assert next_letter(("A", "b", "D")) == "C"
    assert next_letter(tuple("ABCDEFGHIJKLMNOPQRSTUVWXYZ")) == ""
    assert valid_label(" \x1bthree   blades ") == "three blades"
    assert len(valid_label("x" * 60)) == 40


def test_an_interval_beyond_any_float_has_no_half() -> None:
    run = changed(RUN, wh_per_km=Figure(1e308, -1e308, 1.5e308))
    (line,) = runs_content(state(snapshot(runs=(run,)))).lines
    assert line.within == ""
