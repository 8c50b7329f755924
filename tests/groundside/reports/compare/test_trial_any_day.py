"""Whatever a day was like, it ends in figures that are finite, or in a plain sentence."""

import json
import math
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from groundside.reports.compare.compare_json import as_json
from groundside.reports.compare.compare_text import as_lines
from groundside.reports.compare.cruise_range import cruise_range
from groundside.reports.compare.findings import Findings
from groundside.reports.compare.power_splits import pair_splits, setup_splits
from groundside.reports.compare.run_times import RunTimes
from groundside.words.units import DEFAULT
from onboard.contract.codec import plain
from onboard.efficiency.trial.equal_power import at_power
from onboard.efficiency.trial.results import Comparison
from onboard.efficiency.trial.runs import RunSpan
from onboard.efficiency.trial.seconds import Seconds
from onboard.efficiency.trial.trial import NoTrial, Trial, TrialRide, trial_of
from onboard.profile import Drive, Profile, Sensors
from tests.onboard.efficiency.trial.made_legs import made_seconds


@dataclass(frozen=True)
class Part:
    """Some seconds of a day: on one course, or round if `turn_degps` is not 0."""

    seconds: int
    course_deg: float
    speed_mps: float
    power_w: float
    turn_degps: float = 0.0
    gap_s: float = 0.0


PARTS = st.builds(
    Part,
    st.sampled_from([1, 5, 40, 70, 120]),
    st.sampled_from([0.0, 0.1, 40.0, 90.0, 180.0, 220.0, 221.0]),
    st.sampled_from([0.0, 0.3, 1.0, 2.0, 2.1]),
    st.sampled_from([-5.0, 0.0, 0.5, 300.0, 400.0, 410.0, float("nan")]),
    st.sampled_from([0.0, 0.0, 0.0, 3.0, -6.0]),
    st.sampled_from([0.0, 0.0, 0.0, 3.0, 90.0, 1e4]),
)
"""Likely to pair up, and now and then strange."""

MARKS = st.tuples(
    st.sampled_from("abc"), st.floats(-50.0, 900.0), st.floats(-50.0, 900.0), st.booleans()
)
WATER = st.tuples(st.floats(-1.0, 1.0), st.floats(-1.0, 1.0), st.floats(-0.5, 0.5))


def ridden(parts: list[Part], water: tuple[float, float, float], seed: int) -> Seconds:
    rng = np.random.default_rng(seed)
    east, north, power, gaps = [], [], [], []
    for part in parts:
        course = np.radians(part.course_deg + part.turn_degps * np.arange(part.seconds))
        east.append(part.speed_mps * np.sin(course))
        north.append(part.speed_mps * np.cos(course))
        power.append(np.full(part.seconds, part.power_w))
        gaps.append(np.r_[part.gap_s, np.zeros(part.seconds - 1)])
    count = sum(map(len, east))
    drifting = 1.0 + water[2] * np.linspace(-1.0, 1.0, count)
    return made_seconds(
        np.concatenate(east) + water[0] * drifting + 0.02 * rng.standard_normal(count),
        np.concatenate(north) + water[1] * drifting + 0.02 * rng.standard_normal(count),
        np.concatenate(power),
        t_s=np.arange(1.0, count + 1.0) + np.cumsum(np.concatenate(gaps)),
    )


def there_and_back(setup_times: int, across_mps: float, course_deg: float = 0.0) -> list[Part]:
    del across_mps
    return [
        Part(seconds, course_deg + 180.0 * (n % 2), 2.0, 400.0, turn)
        for n in range(2 * setup_times)
        for seconds, turn in ((80, 0.0), (10, 18.0))
    ]


def spans_of(marks: list[tuple[str, float, float, bool]]) -> list[RunSpan]:
    return [RunSpan(setup, start, end, marked) for setup, start, end, marked in marks]


def by_turns(names: str, each_s: float) -> list[RunSpan]:
    return [RunSpan(name, n * each_s, (n + 1) * each_s, False) for n, name in enumerate(names)]


def finite(value: object) -> bool:
    if isinstance(value, dict):
        return all(map(finite, value.values()))
    if isinstance(value, list | tuple):
        return all(map(finite, value))
    return not isinstance(value, float) or math.isfinite(value)


def told(trial: Trial) -> None:
    """Write the trial out in all ways; all figures must be finite."""
    splits = setup_splits(trial.comparison, Drive())
    pairs = pair_splits(trial.comparison, splits)
    cruise = cruise_range(1.7, trial, Profile(), None)
    findings = Findings(trial, RunTimes([]), splits, pairs, cruise)
    text = "\n".join(as_lines(findings, DEFAULT, details=True))
    assert "nan" not in text.split()
    assert " inf" not in text
    json.dumps(as_json(findings), allow_nan=False)
    for one in (*trial.comparison.setups, *trial.comparison.pairs, *trial.comparison.places):
        assert finite(plain(one)), one
    assert finite(trial.comparison.told_fraction)
    chances = [one.chance_best for one in trial.comparison.places if one.chance_best is not None]
    assert sum(chances) == pytest.approx(1.0)


def between_its_runs(found: Comparison) -> None:
    """Check each double run's speed against those of its legs, freed of the water."""
    evidence, slope = found.evidence, found.slope.value
    along = np.nan_to_num(evidence.water.along_mps)
    through = np.array([leg.speed_mps for leg in evidence.legs]) - along
    raw = at_power(evidence.legs, through, found.power_w, slope)
    freed = raw - along
    for double, speed in zip(evidence.doubles, evidence.speed_mps.tolist(), strict=True):
        mine = list(double.legs)
        assert freed[mine].min() - 1e-6 <= speed <= freed[mine].max() + 1e-6
        # By no more than the water changed is it out of what the legs measured; where water across
        # sets a craft off its heading, ways there and back are no longer one line: 0.04 m/s.
        slack = evidence.water.change_mps + 0.04
        assert raw[mine].min() - slack <= speed <= raw[mine].max() + slack


@pytest.mark.slow
@settings(max_examples=150, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.lists(PARTS, min_size=1, max_size=12),
    st.lists(MARKS, max_size=8),
    WATER,
    st.integers(0, 2**16),
)
@example([Part(70, 0.0, 2.0, 400.0)], [], (0.0, 0.0, 0.0), 0)
@example([Part(70, 0.0, 2.0, 400.0)], [("a", 5.0, 5.0, True), ("b", 5.0, 5.0, True)], (0, 0, 0), 0)
@example([Part(70, 0.0, 2.0, 0.0), Part(70, 180.0, 2.0, 0.0)] * 3,
         [("a", 0.0, 140.0, False), ("b", 140.0, 420.0, False)], (0.0, 0.0, 0.0), 0)  # fmt: skip
def test_any_day_ends_in_finite_figures_or_a_reason(
    parts: list[Part], marks: list, water: tuple[float, float, float], seed: int
) -> None:
    ride = TrialRide(ridden(parts, water, seed), [], spans_of(marks))
    found = trial_of([ride], Sensors())
    if isinstance(found, NoTrial):
        assert found.why.code
        return
    told(found)
    between_its_runs(found.comparison)


@pytest.mark.slow
@settings(max_examples=60, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.sampled_from(["abba", "abab", "aabb", "abbaabba", "abccba", "ab", "abb"]),
    WATER,
    st.floats(0.0, 360.0),
    st.integers(0, 2**16),
)
@example("abba", (-0.4375, 0.0, -0.4375), 0.0, 1)
def test_double_runs_in_any_water(
    order: str, water: tuple[float, float, float], course_deg: float, seed: int
) -> None:
    """Found: a steady 0.15 m/s across the courses, or one day in 59 of still water, ended in NaN.

    Others told a double run of 7.6 km/h made of runs of 6.6 and 5.7.
    """
    parts = there_and_back(len(order), 0.0, course_deg)
    ride = TrialRide(ridden(parts, water, seed), [], by_turns(order, 180.0))
    found = trial_of([ride], Sensors())
    if isinstance(found, NoTrial):
        # Strong water sets a craft off its heading: courses that are not opposite.
        assert math.hypot(water[0], water[1]) > 0.2
        return
    told(found)
    between_its_runs(found.comparison)
    evidence = found.comparison.evidence
    for double, speed in zip(evidence.doubles, evidence.speed_mps.tolist(), strict=True):
        # In water half as fast as the craft, a way there and back with its turns may be a lap.
        assert double.is_lap or 1.3 < speed < 2.7
