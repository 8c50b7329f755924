"""Laps in a comparison: they count like double runs, and against laps only."""

import math

import numpy as np
import pytest

from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.trial.comparison import compare
from onboard.efficiency.trial.equal_power import CurveSlope
from onboard.efficiency.trial.leg import Leg
from onboard.efficiency.trial.results import Comparison
from tests.onboard.efficiency.trial.made_legs import EVERY_S, Runs, made_lap

SLOPE = CurveSlope(0.28, 0.05, False)


def compared(legs: list[Leg]) -> Comparison:
    found = compare(legs, 400.0, SLOPE, 0.02)
    assert not isinstance(found, Unknown)
    return found


def test_three_laps_each_by_turns_measure_their_own_scatter() -> None:
    """Found: three laps each of seven set-ups, by turns, were refused."""
    rng = np.random.default_rng(4)
    names = "abcdefg"
    legs = [
        made_lap(one, 350.0 * n, 2.0 * math.exp(-0.06 * (one != "a") + 0.015 * rng.normal()))
        for n, one in enumerate(names * 3)
    ]
    found = compared(legs)
    assert found.cautions == ()
    assert [(one.laps, one.double_runs, one.runs) for one in found.setups] == [(3, 0, 0)] * 7
    assert found.evidence.levels.freedom == 14
    assert 0.008 < found.evidence.levels.sd < 0.025
    assert found.places[0].name == "a"
    assert [one.group for one in found.places] == [0] + [1] * 6
    assert found.next_runs.enough


def test_a_lap_s_power_is_corrected_by_the_slope() -> None:
    powers = [420.0, 400.0, 400.0, 420.0]
    legs = [
        made_lap(one, 350.0 * n, 2.0 * (power / 400.0) ** 0.28, power)
        for n, (one, power) in enumerate(zip("abba", powers, strict=True))
    ]
    figure = compared(legs).pairs[0].difference_fraction
    assert isinstance(figure, Figure)
    assert figure.value == pytest.approx(0.0, abs=1e-9)


def test_laps_and_double_runs_are_not_compared_with_each_other() -> None:
    # Turns slow a lap by 4 %, whatever is on the shaft.
    doubles = Runs("abba", {"a": 2.0, "b": 1.9}).legs()
    laps = [
        made_lap(one, 8 * EVERY_S + 350.0 * n, 0.96 * {"a": 2.0, "b": 1.9, "c": 2.0}[one])
        for n, one in enumerate("cbbc")
    ]
    found = compared(doubles + laps)
    differences = {frozenset((one.a, one.b)): one.difference_fraction for one in found.pairs}
    figure = differences[frozenset("ac")]
    # Both were compared with `b`, each in its own way: equal.
    assert isinstance(figure, Figure)
    assert figure.value == pytest.approx(0.0, abs=1e-9)
    alone = compared(doubles + [one for one in laps if one.setup == "c"])
    never = [one.difference_fraction for one in alone.pairs if "c" in (one.a, one.b)]
    assert never == [Unknown(Reason.NEVER_TOGETHER)] * 2
    chances = {one.name: one.chance_best for one in alone.places}
    assert chances["c"] is None or chances["a"] is None


def test_a_lap_takes_no_part_in_the_water_s_fit() -> None:
    runs = Runs("abba", water_mps=lambda t_s: 0.2 + 0.1 * t_s / 1000.0)
    plain = compared(runs.legs()).evidence.water
    with_laps = compared([*runs.legs(), made_lap("a", 2000.0, 1.5)]).evidence.water
    assert with_laps.corrected_mps[:4] == pytest.approx(plain.corrected_mps, abs=1e-9)
    assert with_laps.corrected_mps[4] == pytest.approx(1.5)
