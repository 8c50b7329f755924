"""Cautions of the ranking: number of runs, water, outliers, order."""

import numpy as np
import pytest

from onboard.contract.figure import Unknown
from onboard.contract.remarks import Caution, CautionCode
from onboard.efficiency.trial.cautions import comparable, in_blocks
from onboard.efficiency.trial.comparison import compare
from onboard.efficiency.trial.equal_power import CurveSlope
from onboard.efficiency.trial.results import Comparison
from tests.onboard.efficiency.trial.made_legs import Runs

EQUAL = {"a": 2.0, "b": 2.0, "c": 2.0}


def compared(legs) -> Comparison:
    found = compare(legs, 400.0, CurveSlope(0.28, 0.05, False), 0.02)
    assert not isinstance(found, Unknown)
    return found


def noise(order: str, seed: int, trend: float = 0.0, sd: float = 0.004) -> np.ndarray:
    rng = np.random.default_rng(seed)
    each = sd * rng.standard_normal(len(order)) - trend * np.arange(len(order)) / len(order)
    return np.repeat(each, 2) + 0.002 * rng.standard_normal(2 * len(order))


def codes(order: str, seed: int = 1, **more) -> list[str]:
    trend = more.pop("trend", 0.0)
    runs = Runs(order, more.pop("speed", EQUAL), noise=noise(order, seed, trend), **more)
    return [one.code.code for one in compared(runs.legs()).cautions]


@pytest.mark.parametrize("seed", range(6))
def test_no_caution(seed: int) -> None:
    assert codes("abbaabba", seed) == []


@pytest.mark.parametrize(
    ("order", "named"), [("abb", ("a",)), ("abbccb", ("a",)), ("abbc", ("a", "c")), ("aab", ("b",))]
)
def test_too_few_double_runs(order: str, named: tuple[str, ...]) -> None:
    found = compared(Runs(order, EQUAL, noise=noise(order, 2)).legs()).cautions
    few = [one.values["setups"] for one in found if one.code is CautionCode.TOO_FEW_DOUBLE_RUNS]
    assert few == [named]


def water(change: float):
    return lambda t_s: 0.25 + change * t_s / 2240.0


@pytest.mark.parametrize(("change", "expected"), [(0.0, []), (0.3, ["current_changed"])])
@pytest.mark.parametrize("seed", range(3))
def test_a_current_that_changed(seed: int, change: float, expected: list[str]) -> None:
    assert codes("abbaabba", seed, water_mps=water(change)) == expected


def test_a_current_that_jumped_to_and_fro() -> None:
    found = compared(
        Runs("abbaabba", EQUAL, water_mps=lambda t_s: 0.2 * np.sin(t_s / 90.0)).legs()
    ).cautions
    (one,) = [one for one in found if one.code is CautionCode.CURRENT_CHANGED]
    assert one.values["change_mps"] is None
    # An oscillation of 0.2 m/s has a standard deviation of 0.14 m/s.
    assert 0.05 < one.values["leg_sd_mps"] < 0.25


@pytest.mark.parametrize("trend", [-0.2, 0.2])
@pytest.mark.parametrize("order", ["aaaabbbb", "bbbbaaaa"])
def test_a_trend_in_an_order_that_hides_it(order: str, trend: float) -> None:
    assert codes(order, trend=trend) == ["order_confounded"]
    assert codes("abbaabba", trend=trend) == []


@pytest.mark.parametrize("seed", range(5))
def test_an_order_in_blocks_always_carries_its_caution(seed: int) -> None:
    # Whatever the runs show: a step at the swap looks like a difference.
    assert codes("aaaabbbb", seed) == ["order_confounded"]


def test_a_difference_beyond_any_usual_step_is_told_with_the_caution() -> None:
    found = compared(Runs("aaabbb", {"a": 2.0, "b": 1.4}, noise=noise("aaabbb", 3)).legs())
    assert in_blocks(found.evidence, 0, 1)
    assert [one.code.code for one in found.cautions] == ["order_confounded"]
    assert found.pairs[0].verdict == "a_better"


def test_a_difference_that_a_step_may_explain() -> None:
    # It would be a verdict if nothing changed at the swap, which is not known.
    found = compared(Runs("aabb", {"a": 2.0, "b": 1.86}, noise=noise("aabb", 3)).legs())
    (pair,) = found.pairs
    assert in_blocks(found.evidence, 0, 1)
    assert [one.code.code for one in found.cautions] == ["order_confounded"]
    assert pair.verdict == "cannot_tell"
    turns = compared(Runs("abba", {"a": 2.0, "b": 1.86}, noise=noise("abba", 3)).legs())
    assert not in_blocks(turns.evidence, 0, 1)
    assert turns.pairs[0].verdict == "a_better"


def test_set_ups_that_only_met_others() -> None:
    legs = [*Runs("aa", EQUAL, noise=noise("aa", 1)).legs(outing=0),
            *Runs("bb", EQUAL, noise=noise("bb", 2)).legs(outing=1)]  # fmt: skip
    found = compared(legs)
    assert not comparable(found.evidence, 0, 1)
    assert "order_confounded" in [one.code.code for one in found.cautions]


def test_an_outlier_is_named_by_its_runs() -> None:
    off = noise("abbaabba", 4)
    off[10:12] -= 0.12
    found = compared(Runs("abbaabba", EQUAL, noise=off).legs()).cautions
    assert Caution(CautionCode.OUTLIER_RUN, run_numbers=(11, 12), setup="b") in found
