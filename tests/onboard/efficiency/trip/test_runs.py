"""Steady stretches up to now, and runs: means, consumption, and when a run is long enough."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from onboard.contract.figure import Figure, Unknown
from onboard.efficiency.sources.settled_seconds import SettledSeconds
from onboard.efficiency.trip.runs import RUNS_MOST, MarkedRuns
from onboard.efficiency.trip.steady_now import SteadyNow
from tests.onboard.efficiency.curve.made_blocks import settled

NONE = np.zeros((5, 5))


def leg(seconds: int, power_w=300.0, speed_mps=2.0, course_deg=90.0, first_s=1.0) -> SettledSeconds:
    course = math.radians(course_deg)
    ones = np.ones(seconds)
    made = settled(
        power_w * ones, speed_mps * math.sin(course) * ones, speed_mps * math.cos(course) * ones,
        first_s,
    )  # fmt: skip
    return replace(made, distance_m=speed_mps * ones, volts_v=50.0 * ones)


def steady_after(*parts: SettledSeconds) -> SteadyNow:
    steady = SteadyNow()
    for one in parts:
        list(steady.fold(one))
    return steady


def test_steady_time_counts_in_pieces_of_ten_seconds() -> None:
    now = steady_after(leg(47)).now()
    assert (now.seconds_s, now.power_w, now.speed_mps) == (40.0, 300.0, pytest.approx(2.0))
    assert now.scatter_fraction == 0.0


@pytest.mark.parametrize(
    ("change", "continues"),
    [
        ({"power_w": 314.0}, True),
        ({"power_w": 317.0}, False),
        ({"power_w": 284.0}, False),
        ({"speed_mps": 2.09}, True),
        ({"speed_mps": 2.12}, False),
        ({"course_deg": 104.0}, True),
        ({"course_deg": 106.0}, False),
        ({"course_deg": 270.0}, False),
    ],
)
def test_a_change_of_power_speed_or_course_restarts_the_stretch(change, continues) -> None:
    now = steady_after(leg(40), leg(10, first_s=41.0, **change)).now()
    assert now.seconds_s == (50.0 if continues else 10.0)


def test_course_is_compared_across_north() -> None:
    assert (
        steady_after(leg(20, course_deg=356), leg(20, course_deg=4, first_s=21.0)).now().seconds_s
        == 40
    )


def test_a_slow_drift_of_power_ends_a_steady_stretch() -> None:
    parts = [leg(10, 300.0 * 1.02**n, first_s=1.0 + 10 * n) for n in range(12)]
    assert steady_after(*parts).now().seconds_s < 80


def test_nothing_is_steady_at_rest_or_where_something_is_unknown() -> None:
    assert steady_after(leg(40, speed_mps=0.3)).now().seconds_s == 0.0
    broken = leg(40)
    broken.power_w[33] = np.nan
    now = steady_after(broken).now()
    assert now.seconds_s == 0.0
    assert isinstance(now.power_w, Unknown)


def test_scatter_is_the_standard_error_of_the_costs_of_pieces() -> None:
    powers = [300.0, 309.0, 297.0, 303.0]
    now = steady_after(*(leg(10, p, first_s=1.0 + 10 * n) for n, p in enumerate(powers))).now()
    costs = np.array(powers) / 2.0
    expected = costs.std(ddof=1) / math.sqrt(4) / costs.mean()  # by definition
    assert now.scatter_fraction == pytest.approx(expected, rel=1e-9)


def run_of(seconds: int, **more) -> MarkedRuns:
    runs = MarkedRuns()
    runs.start(0.0, "A")
    runs.fold(leg(seconds, **more))
    return runs


def only(runs: MarkedRuns, now_s: float):
    (run,) = runs.table(NONE, 0.0, now_s)
    return run


def test_a_run_has_its_means_and_its_consumption() -> None:
    run = only(run_of(70), 72.0)
    assert (run.number, run.setup, run.open) == (1, "A", True)
    assert (run.seconds_s, run.steady_s) == (72.0, 70.0)
    assert (run.power_w, run.speed_mps) == (300.0, pytest.approx(2.0))
    assert run.course_deg == pytest.approx(90.0)
    assert isinstance(run.wh_per_km, Figure)
    # 300 W at 2 m/s: 150 J/m, 41.67 Wh/km
    assert run.wh_per_km.value == pytest.approx(150.0 / 3.6)


@pytest.mark.parametrize(("seconds", "enough"), [(59, False), (60, True)])
def test_a_minute_without_scatter_is_long_enough(seconds, enough) -> None:
    assert only(run_of(seconds), 60.0).long_enough is enough


def uneven(pieces: int) -> MarkedRuns:
    """Return pieces with power and speed alternating within limits: costs 4.9 % apart."""
    runs = MarkedRuns()
    runs.start(0.0, "A")
    for n in range(pieces):
        power, speed = ((293.0, 2.05), (307.0, 1.951))[n % 2]
        runs.fold(leg(10, power, speed, first_s=1.0 + 10 * n))
    return runs


@pytest.mark.parametrize(("pieces", "enough"), [(6, False), (20, False), (26, True)])
def test_more_scatter_takes_longer(pieces, enough) -> None:
    run = only(uneven(pieces), 300.0)
    assert (run.steady_s, run.long_enough) == (10.0 * pieces, enough)


@pytest.mark.parametrize(("pieces", "enough"), [(29, False), (30, True)])
def test_five_minutes_are_enough_however_it_scatters(pieces, enough, monkeypatch) -> None:
    monkeypatch.setattr("onboard.efficiency.trip.runs.RUN_SCATTER_FRACTION", 0.001)
    assert only(uneven(pieces), 300.0).long_enough is enough


def test_steady_time_before_the_run_does_not_count_for_it() -> None:
    runs = MarkedRuns()
    runs.fold(leg(100))
    runs.start(100.0, "A")
    runs.fold(leg(35, first_s=101.0))
    assert runs.steady.seconds_s == 130.0
    assert only(runs, 135.0).steady_s == 30.0


def test_seconds_that_settle_after_the_end_count_and_later_ones_do_not() -> None:
    runs = MarkedRuns()
    runs.start(0.0, "A")
    runs.end(50.0)
    runs.fold(leg(50))
    runs.fold(leg(50, power_w=900.0, first_s=51.0))
    run = only(runs, 100.0)
    assert (run.open, run.seconds_s, run.power_w, run.steady_s) == (False, 50.0, 300.0, 50.0)


@pytest.mark.parametrize("end_s", [50.0, 43.0, 20.0])
def test_a_run_that_ends_among_seconds_settling_together_counts_up_to_its_end(end_s: float) -> None:
    # The power rises by a watt a second: the mean of the first n seconds is 100 + (n + 1) / 2.
    runs = MarkedRuns()
    runs.start(0.0, "A")
    runs.end(end_s)
    whole = leg(90)
    whole.power_w[:] = 100.0 + whole.t_s
    runs.fold(whole)
    run = only(runs, 100.0)
    assert (run.seconds_s, run.power_w) == (end_s, pytest.approx(100.5 + end_s / 2))


@pytest.mark.parametrize("column", ["distance_m", "power_w"])
def test_a_second_whose_power_or_distance_is_unknown_counts_for_neither(column: str) -> None:
    # Half of the run lacks one: the other half must not count alone in energy over distance.
    runs = MarkedRuns()
    runs.start(0.0, "A")
    whole = leg(60)
    whole.power_w[30:] = 900.0
    getattr(whole, column)[30:] = np.nan
    runs.fold(whole)
    run = only(runs, 60.0)
    assert (run.power_w, run.speed_mps) == (pytest.approx(300.0), pytest.approx(2.0))
    assert run.wh_per_km.value == pytest.approx(150.0 / 3.6)


@pytest.mark.parametrize("course_deg", [10.0, 100.0, 190.0, 350.0])
def test_a_run_has_its_course(course_deg: float) -> None:
    assert only(run_of(40, course_deg=course_deg), 40.0).course_deg == pytest.approx(course_deg)


def test_a_run_ends_where_the_next_begins_and_only_the_newest_are_kept() -> None:
    runs = MarkedRuns()
    for n in range(RUNS_MOST + 3):
        runs.start(10.0 * n, "AB"[n % 2])
    table = runs.table(NONE, 0.0, 200.0)
    assert [run.number for run in table] == list(range(4, RUNS_MOST + 4))
    assert [run.open for run in table] == [False] * (RUNS_MOST - 1) + [True]
    assert all(isinstance(run.power_w, Unknown) for run in table)


@settings(max_examples=40)
@given(st.integers(0, 2**31), st.lists(st.integers(0, 400), max_size=12).map(sorted))
def test_runs_do_not_depend_on_the_partition(seed, cuts) -> None:
    rng = np.random.default_rng(seed)
    whole = leg(400)
    whole.power_w[:] *= np.repeat(rng.choice([1.0, 1.02, 1.3], 20), 20)
    whole.power_w[rng.random(400) < 0.005] = np.nan
    tables = []
    for places in ([], cuts):
        runs = MarkedRuns()
        runs.start(35.0, "A")
        for begin, end in zip([0, *places], [*places, 400], strict=True):
            runs.fold(whole.part(begin, end))
        tables.append((runs.table(NONE, 0.0, 400.0)[0], runs.steady))
    assert tables[0][1] == tables[1][1]
    assert tables[0][0].steady_s == tables[1][0].steady_s
    assert tables[0][0].long_enough == tables[1][0].long_enough
    assert tables[0][0].power_w == pytest.approx(tables[1][0].power_w, rel=1e-12)
