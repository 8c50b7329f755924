"""From legs to a ranking: invariances, and differences that must be found."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.contract.remarks import Caution, CautionCode
from onboard.efficiency.trial.comparison import compare
from onboard.efficiency.trial.equal_power import CurveSlope
from onboard.efficiency.trial.leg import Leg
from onboard.efficiency.trial.results import Comparison, PairResult
from tests.onboard.efficiency.trial.made_legs import EVERY_S, Runs, made_leg

SLOPE = CurveSlope(0.28, 0.05, False)
REAL = st.integers(0, 2**32 - 1)


def compared(legs: list[Leg], power_w: float = 400.0, sensors: float = 0.02) -> Comparison:
    found = compare(legs, power_w, SLOPE, sensors)
    assert not isinstance(found, Unknown)
    return found


def real_legs(seed: int, order: str = "abcbacabccba", **more) -> list[Leg]:
    """Return realistic legs: speeds, powers and noise all scatter."""
    rng = np.random.default_rng(seed)
    legs = 2 * len(order)
    noise = np.repeat(0.01 * rng.standard_normal(len(order)), 2) + 0.003 * rng.standard_normal(legs)
    power = 400.0 * np.exp(0.01 * rng.standard_normal(legs))
    return Runs(order, noise=noise, power_w=power.tolist(), **more).legs(speed_sd_mps=0.003)


def differences(found: Comparison) -> dict[tuple[str, str], Figure]:
    return {
        (one.a, one.b): one.difference_fraction
        for one in found.pairs
        if isinstance(one.difference_fraction, Figure)
    }


def same(one: Figure, other: Figure, within: float = 1e-9) -> None:
    for key in ("value", "low", "high"):
        assert getattr(one, key) == pytest.approx(getattr(other, key), abs=within)


def turned(one: PairResult) -> PairResult:
    figure = one.difference_fraction
    assert isinstance(figure, Figure)
    values = [1.0 / (1.0 + part) - 1.0 for part in (figure.value, figure.high, figure.low)]
    verdict = {"a_better": "b_better", "b_better": "a_better"}.get(one.verdict, one.verdict)
    return replace(one, a=one.b, b=one.a, difference_fraction=Figure(*values), verdict=verdict)


def as_named(found: Comparison, a: str, b: str) -> PairResult:
    """Return a pair as a against b, whichever is stated first."""
    for one in found.pairs:
        if (one.a, one.b) == (a, b):
            return one
        if (one.a, one.b) == (b, a):
            return turned(one)
    raise AssertionError((a, b))


def test_a_known_difference_without_noise() -> None:
    found = compared(Runs("abbaabba").legs())
    assert [one.name for one in found.setups] == ["a", "b"]
    assert [one.double_runs for one in found.setups] == [4, 4]
    (pair,) = found.pairs
    assert isinstance(pair.difference_fraction, Figure)
    # At equal power Wh/km go as one over speed: 1.9 / 2.0 - 1.
    assert pair.difference_fraction.value == pytest.approx(-0.05, abs=1e-9)
    assert pair.verdict == "a_better"
    assert pair.double_runs_needed is None


def test_wh_per_km_are_not_the_mean_of_the_legs() -> None:
    # 200 W at 2 m/s in a current of 0.5 m/s: 27.78 Wh/km through the water; the mean of the legs'
    # Wh/km over ground is 29.63 (algebra).
    runs = Runs("abba", {"a": 2.0, "b": 1.9}, water_mps=lambda t_s: 0.5, power_w=[200.0] * 8)
    legs = [replace(one, speed_mps=2.5 - n % 2) if one.setup == "a" else one
            for n, one in enumerate(runs.legs())]  # fmt: skip
    cost = next(one for one in compared(legs, 200.0).setups if one.name == "a").wh_per_km
    assert isinstance(cost, Figure)
    assert np.mean([200.0 / 3.6 / v for v in (2.5, 1.5)]) == pytest.approx(29.6296, abs=1e-4)
    assert cost.value == pytest.approx(27.7778, abs=1e-3)


@pytest.mark.slow
@settings(max_examples=30)
@given(REAL, st.permutations(["x", "y", "z"]))
def test_other_labels_change_nothing(seed: int, names: list[str]) -> None:
    by = dict(zip("abc", names, strict=True))
    legs = real_legs(seed)
    before, after = compared(legs), compared([replace(one, setup=by[one.setup]) for one in legs])
    for pair in before.pairs:
        other = as_named(after, by[pair.a], by[pair.b])
        assert isinstance(pair.difference_fraction, Figure)
        assert isinstance(other.difference_fraction, Figure)
        same(pair.difference_fraction, other.difference_fraction, 1e-12)
        assert (pair.verdict, pair.double_runs_needed) == (other.verdict, other.double_runs_needed)
        assert pair.chance == pytest.approx(other.chance, rel=1e-6)


@pytest.mark.slow
@settings(max_examples=30)
@given(REAL, st.floats(-1e6, 1e6), st.floats(0.0, 360.0))
def test_time_and_course_do_not_matter(seed: int, later_s: float, course_deg: float) -> None:
    before = differences(compared(real_legs(seed)))
    moved = [one.at(0, later_s) for one in real_legs(seed, course_deg=course_deg)]
    after = differences(compared(moved))
    for pair, figure in before.items():
        same(figure, after[pair], 1e-8)


@pytest.mark.slow
@settings(max_examples=30)
@given(REAL, st.tuples(*[st.floats(-0.3, 0.3)] * 3))
def test_a_current_that_is_constant_or_quadratic_in_time_does_not_matter(
    seed: int, factors: tuple[float, ...]
) -> None:
    a, b, c = factors
    still = compared(real_legs(seed))
    flowing = compared(
        real_legs(seed, water_mps=lambda t: a + b * t / 2000.0 + c * (t / 2000.0) ** 2)
    )
    for pair, figure in differences(still).items():
        other = differences(flowing)[pair]
        assert figure.value == pytest.approx(other.value, abs=1e-9)
        # The prior for the repeatability of a leg is a share of its speed over ground.
        same(figure, other, 1e-7)


@pytest.mark.slow
@settings(max_examples=30)
@given(REAL, st.floats(0.2, 5.0))
def test_the_power_sensor_s_gain_does_not_matter(seed: int, gain: float) -> None:
    before = compared(real_legs(seed))
    legs = [replace(one, power_w=one.power_w * gain) for one in real_legs(seed)]
    after = compared(legs, 400.0 * gain)
    for pair, figure in differences(before).items():
        same(figure, differences(after)[pair])


@pytest.mark.slow
@settings(max_examples=30)
@given(REAL)
def test_a_sensor_that_is_less_well_known_widens_wh_per_km_and_no_difference(seed: int) -> None:
    sure, unsure = compared(real_legs(seed), sensors=0.0), compared(real_legs(seed), sensors=0.03)
    assert sure.pairs == unsure.pairs
    for one, other in zip(sure.setups, unsure.setups, strict=True):
        assert one.speed_mps == other.speed_mps
        assert isinstance(one.wh_per_km, Figure)
        assert isinstance(other.wh_per_km, Figure)
        assert other.wh_per_km.low < one.wh_per_km.low
        assert other.wh_per_km.high > 1.05 * other.wh_per_km.value


def test_slightly_different_powers_are_corrected_by_the_slope() -> None:
    power = [440.0 if one == "b" else 400.0 for one in "abbaabba" for _ in range(2)]
    legs = Runs("abbaabba", power_w=power, water_mps=lambda t_s: 0.3).legs()
    found = compared(legs, 420.0)
    assert as_named(found, "a", "b").difference_fraction.value == pytest.approx(-0.05, abs=1e-7)
    by_name = {one.name: one for one in found.setups}
    assert by_name["a"].run_power_w == pytest.approx(400.0)
    assert by_name["b"].run_power_w == pytest.approx(440.0)
    assert by_name["a"].correction_fraction == pytest.approx((420 / 400) ** 0.28 - 1.0)
    assert by_name["b"].correction_fraction == pytest.approx((420 / 440) ** 0.28 - 1.0)
    cube = compare(legs, 420.0, CurveSlope(1.0 / 3.0, 0.05, False), 0.02)
    assert not isinstance(cube, Unknown)
    wrong = as_named(cube, "a", "b").difference_fraction
    assert isinstance(wrong, Figure)
    assert wrong.value == pytest.approx(0.95 * 1.1 ** (0.28 - 1 / 3) - 1.0, abs=1e-6)


def test_an_uncertain_correction_widens_the_interval() -> None:
    def width(apart: float, sd: float) -> float:
        power = [400.0 * apart if one == "b" else 400.0 for one in "abbaabba" for _ in range(2)]
        found = compare(
            Runs("abbaabba", power_w=power).legs(), 400.0, CurveSlope(0.28, sd, False), 0.0
        )
        assert not isinstance(found, Unknown)
        figure = found.pairs[0].difference_fraction
        assert isinstance(figure, Figure)
        return figure.high - figure.low

    assert width(1.0, 0.08) == pytest.approx(width(1.0, 0.001), rel=1e-6)
    assert width(1.15, 0.08) > 2.0 * width(1.15, 0.001)


def test_overlapping_groups_are_not_counted_as_independent() -> None:
    # Four runs to and fro hold three overlapping pairs; they are two double runs, and no more.
    found = compared(Runs("aabbbbaa").legs())
    assert [one.double_runs for one in found.setups] == [4, 4]
    assert found.evidence.levels.freedom <= 6
    counted = [n for one in found.evidence.doubles for n in one.legs]
    assert sorted(counted) == list(range(16))


def test_no_double_run() -> None:
    legs = [made_leg("a"), made_leg("b", EVERY_S, course_deg=180.0)]
    found = compare(legs, 400.0, SLOPE, 0.02)
    assert found == Unknown(Reason.NO_DOUBLE_RUN, reasons=("other_setup_next", "no_run_back"))
    other = [made_leg("a"), made_leg("a", EVERY_S, course_deg=180.0, power_w=300.0)]
    found = compare(other, 400.0, SLOPE, 0.02)
    assert isinstance(found, Unknown)
    assert "other_power_next" in found.values["reasons"]


def test_one_double_run_each_is_judged_by_the_usual_scatter() -> None:
    found = compared(Runs("ab").legs())
    (pair,) = found.pairs
    assert pair.verdict == "cannot_tell"
    assert pair.why_not == Unknown(Reason.TOO_FEW_DOUBLE_RUNS)
    assert [one.code for one in found.cautions] == [
        CautionCode.TOO_FEW_DOUBLE_RUNS, CautionCode.ORDER_CONFOUNDED,
    ]  # fmt: skip
    # By hand: each repeats to 1.2 %, the step between them to 3.5 %, and trim to 0.2 %.
    figure = pair.difference_fraction
    assert isinstance(figure, Figure)
    sd = math.sqrt(2.0 * 0.012**2 + 0.035**2 + 0.002**2)
    reach = math.log1p(figure.high) - math.log1p(figure.value)
    assert reach == pytest.approx(stats.t.ppf(0.975, pair.freedom) * sd, rel=1e-6)
    # The usual scatter is worth two degrees of freedom.
    assert pair.freedom == pytest.approx(2.0 * sd**2 / (2.0 * 0.012**2))


def test_a_set_up_without_a_double_run_is_named() -> None:
    legs = [*Runs("abba").legs(), made_leg("c", 8 * EVERY_S)]
    found = compared(legs)
    assert [one.name for one in found.setups] == ["a", "b"]
    assert found.evidence.without == ["c"]
    assert Caution(CautionCode.TOO_FEW_DOUBLE_RUNS, setups=("c",)) in found.cautions


def test_an_outlier_is_left_out_and_named() -> None:
    noise = 0.004 * np.random.default_rng(8).standard_normal(16)
    noise[4:6] -= 0.1
    found = compared(Runs("abbaabba", noise=noise).legs())
    assert [one.legs for one in found.evidence.left_out] == [(4, 5)]
    assert Caution(CautionCode.OUTLIER_RUN, run_numbers=(5, 6), setup="b") in found.cautions
    figure = as_named(found, "a", "b").difference_fraction
    assert isinstance(figure, Figure)
    assert figure.low < -0.05 < figure.high
    assert figure.high - figure.low < 0.03


@pytest.mark.parametrize(("times", "left_out"), [(1, [(14, 15)]), (2, [(14, 15), (4, 5)])])
def test_one_in_seven_may_be_left_out_and_no_more(
    times: int, left_out: list[tuple[int, int]]
) -> None:
    noise = 0.004 * np.random.default_rng(8).standard_normal(16 * times)
    noise[4:6] -= 0.1
    noise[14:16] -= 0.3
    found = compared(Runs("abbaabba" * times, noise=noise).legs())
    assert [one.legs for one in found.evidence.left_out] == left_out


def test_all_of_one_then_all_of_the_other_with_a_trend_gives_no_verdict() -> None:
    wobble = 0.002 * np.array([1, -1, 1, -1, -1, 1, -1, 1])
    noise = np.repeat(-0.02 * np.arange(8) + wobble, 2)
    found = compared(Runs("aaaabbbb", {"a": 2.0, "b": 2.0}, noise=noise).legs())
    assert found.cautions == (Caution(CautionCode.ORDER_CONFOUNDED, setups=("a",), others=("b",)),)
    (pair,) = found.pairs
    assert pair.verdict == "cannot_tell"
    assert pair.why_not == Unknown(Reason.DRIFT_POSSIBLE)
    turns = compared(Runs("abbaabba", {"a": 2.0, "b": 2.0}, noise=noise).legs())
    assert CautionCode.ORDER_CONFOUNDED not in [one.code for one in turns.cautions]
    figure = turns.pairs[0].difference_fraction
    assert isinstance(figure, Figure)
    assert figure.low < 0.0 < figure.high


def test_a_step_at_the_swap_is_no_difference() -> None:
    """Found: equal set-ups, A A A A B B B B, 5 % at the swap: 6 of 8 days claimed a difference."""
    claimed = inside = 0
    for seed in range(40):
        each = 0.012 * np.random.default_rng(seed).standard_normal(8)
        step = 0.05 if seed % 2 else -0.05
        noise = np.repeat(each + np.where(np.arange(8) < 4, 0.0, step), 2)
        found = compared(Runs("aaaabbbb", {"a": 2.0, "b": 2.0}, noise=noise).legs())
        assert CautionCode.ORDER_CONFOUNDED in [one.code for one in found.cautions]
        (pair,) = found.pairs
        figure = pair.difference_fraction
        assert isinstance(figure, Figure)
        claimed += pair.verdict != "cannot_tell"
        inside += figure.low < 0.0 < figure.high
        if pair.verdict == "cannot_tell":
            assert pair.why_not == Unknown(Reason.DRIFT_POSSIBLE)
    # 5 % of 40 by the binomial: at most 5 (scipy, 97.5 %).
    assert claimed <= 5
    assert inside >= 35


def test_set_ups_of_different_days_are_not_compared() -> None:
    legs = [*Runs("aa").legs(outing=0), *Runs("bb").legs(outing=1)]
    found = compared(legs)
    (pair,) = found.pairs
    assert (pair.verdict, pair.chance) == ("cannot_tell", None)
    assert pair.difference_fraction == pair.why_not == Unknown(Reason.NEVER_TOGETHER)
    # The results of each on its own day remain valid.
    assert {one.name: round(one.speed_mps.value, 3) for one in found.setups} == {"a": 2.0, "b": 1.9}


@pytest.mark.parametrize("order", ["abbaabba", "abccbaabccba"])
def test_probabilities_agree_with_the_intervals_and_are_corrected_for_their_number(
    order: str,
) -> None:
    noise = np.repeat(0.012 * np.random.default_rng(6).standard_normal(len(order)), 2)
    found = compared(Runs(order, {"a": 2.0, "b": 1.96, "c": 1.93}, noise=noise).legs())
    alone = []
    for pair in found.pairs:
        figure = pair.difference_fraction
        assert isinstance(figure, Figure)
        middle, high = math.log1p(figure.value), math.log1p(figure.high)
        sd = (high - middle) / stats.t.ppf(0.975, pair.freedom)
        alone.append(2.0 * stats.t.sf(abs(middle) / sd, pair.freedom))
    together = dict(zip(sorted(alone), np.arange(len(alone), 0, -1), strict=True))
    steps = {p: min(1.0, max(q * k for q, k in together.items() if q <= p)) for p in alone}
    # The best is told from all if it is from each: no correction is due there.
    best = found.places[0].name
    of_best = [best in (one.a, one.b) for one in found.pairs]
    most = max(p for p, with_best in zip(alone, of_best, strict=True) if with_best)
    expected = [
        min(steps[p], most) if with_best else steps[p]
        for p, with_best in zip(alone, of_best, strict=True)
    ]
    assert [one.chance for one in found.pairs] == pytest.approx(expected, rel=1e-5)


def test_how_many_more_double_runs() -> None:
    rng = np.random.default_rng(12)
    noise = np.repeat(0.015 * rng.standard_normal(8), 2)
    found = compared(Runs("abbaabba", {"a": 2.0, "b": 1.99}, noise=noise).legs())
    (pair,) = found.pairs
    assert pair.verdict == "cannot_tell"
    assert pair.double_runs_needed is not None
    sd = found.evidence.levels.sd
    assert 0.008 < sd < 0.025
    # (t for 5 % + t for 80 %)^2 x 2 (sd / 3 %)^2 of each, less the four that there are.
    rough = 2.0 * (2.8 * sd / 0.03) ** 2
    assert pair.double_runs_needed == pytest.approx(2 * max(rough + 1.0 - 4.0, 0.0), abs=4.0)
    assert math.isfinite(pair.freedom)
