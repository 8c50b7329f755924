"""Set-ups against each other: certified analyses of variance, Welch's test, Holm's correction."""

import csv
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from onboard.efficiency.statistics.probability import f_survival
from onboard.efficiency.trial import ranking
from onboard.efficiency.trial.ranking import (
    Levels,
    Sample,
    adjusted,
    levels,
    p_value_of,
    run_in_sequence,
)

DATA = Path(__file__).parents[3] / "data"


def rows_of(name: str) -> list[dict[str, str]]:
    lines = [line for line in (DATA / name).read_text().splitlines() if not line.startswith("#")]
    return list(csv.DictReader(lines))


def sample(values, setup, t_s=None, outing=None) -> Sample:
    count = len(values)
    return Sample(
        np.array(values, float),
        np.array(setup),
        np.zeros(count, int) if outing is None else np.array(outing),
        np.zeros(count) if t_s is None else np.array(t_s, float),
    )


def p_value(fit: Levels, row: np.ndarray) -> float:
    return p_value_of(float(row @ fit.level), *fit.variance(row))


def contrast(count: int, a: int, b: int) -> np.ndarray:
    row = np.zeros(count)
    row[a], row[b] = 1.0, -1.0
    return row


# NIST StRD, analysis of variance, set-ups as treatments: F (certified) with its degrees of
# freedom, residual standard deviation (certified); p by scipy 1.17.1, f_oneway.
NIST = {
    "SiRstv": (1.18046237440255, 4, 20, 0.104076068334656, 0.349447),
    "AtmWtAg": (15.9467335677930, 1, 46, 1.51048314446410e-05, 2.3268e-4),
    "SmLs01": (21.0, 8, 180, 0.1, 2.58e-22),
}


@pytest.mark.parametrize("name", NIST)
def test_certified_analysis_of_variance(name: str) -> None:
    f, over, under, sd, chance = NIST[name]
    rows = rows_of(f"nist_{name}.csv")
    values = np.array([float(row["y"]) for row in rows])
    fit = levels(sample(values, [int(row["treatment"]) - 1 for row in rows]))
    between = float(fit.counts @ (fit.level - values.mean()) ** 2) / (len(fit.level) - 1)
    assert (len(fit.level) - 1, fit.freedom) == (over, under)
    assert fit.own_variance is None
    assert fit.sd == pytest.approx(sd, rel=1e-8)
    assert between / fit.sd**2 == pytest.approx(f, rel=1e-6)
    found = f_survival(between / fit.sd**2, over, under)
    assert found == pytest.approx(chance, rel=2e-3)


def test_two_set_ups_are_compared_as_their_analysis_of_variance_says() -> None:
    rows = rows_of("nist_AtmWtAg.csv")
    fit = levels(
        sample([float(row["y"]) for row in rows], [int(row["treatment"]) - 1 for row in rows])
    )
    assert p_value(fit, contrast(2, 0, 1)) == pytest.approx(2.3268e-4, rel=1e-4)


@pytest.mark.parametrize("row", rows_of("welch_examples.csv"), ids=lambda row: row["set"])
def test_unequal_scatter_by_welch(row: dict[str, str], monkeypatch: pytest.MonkeyPatch) -> None:
    # Samples that public test suites use for Welch's test; figures by scipy 1.17.1.
    a, b = (np.array([float(part) for part in row[name].split()]) for name in "ab")
    monkeypatch.setattr(ranking, "UNEQUAL_SCATTER_SIGNIFICANCE", math.inf)
    fit = levels(sample([*a, *b], [0] * len(a) + [1] * len(b)))
    row_ab = contrast(2, 0, 1)
    variance, freedom = fit.variance(row_ab)
    assert row_ab @ fit.level / math.sqrt(variance) == pytest.approx(float(row["t"]), rel=1e-9)
    assert freedom == pytest.approx(float(row["df"]), rel=1e-9)
    assert p_value(fit, row_ab) == pytest.approx(float(row["p"]), rel=1e-7)
    ours = stats.ttest_ind(a, b, equal_var=False)
    assert p_value(fit, row_ab) == pytest.approx(float(ours.pvalue), rel=1e-7)


def test_equal_scatter_is_pooled() -> None:
    rng = np.random.default_rng(3)
    a, b = rng.normal(0.0, 1.0, 5), rng.normal(0.8, 1.0, 7)
    fit = levels(sample([*a, *b], [0] * 5 + [1] * 7))
    assert fit.own_variance is None
    expected = stats.ttest_ind(a, b)
    assert p_value(fit, contrast(2, 0, 1)) == pytest.approx(float(expected.pvalue), rel=1e-8)
    assert fit.freedom == 10


def test_scatter_that_is_plainly_unequal_is_not_pooled() -> None:
    a = [0.0, 1e-4, -1e-4, 5e-5, -5e-5]
    b = [0.0, 0.1, -0.1, 0.05, -0.05]
    fit = levels(sample([*a, *b], [0] * 5 + [1] * 5))
    assert fit.own_variance == pytest.approx([np.var(a, ddof=1), np.var(b, ddof=1)])


# By hand, sorted p times 4, 3, 2, 1, none below the one before: 0.005 x 4 = 0.02, 0.02 x 3 = 0.06,
# 0.03 x 2 = 0.06, 0.04 x 1 -> 0.06; and 0.3 x 4 -> 1, 0.5 and 0.9 -> 1.
@pytest.mark.parametrize(
    ("alone", "together"),
    [
        ([0.02, 0.04, 0.03, 0.005], [0.06, 0.06, 0.06, 0.02]),
        ([0.3, 0.5, 0.9, 0.4], [1.0, 1.0, 1.0, 1.0]),
        ([0.011, 0.02, 0.04, 0.005], [0.033, 0.04, 0.04, 0.02]),
        ([0.03], [0.03]),
    ],
)
def test_probabilities_are_corrected_by_holm(alone: list[float], together: list[float]) -> None:
    assert adjusted(np.array(alone)).tolist() == pytest.approx(together)


@given(st.lists(st.floats(0.0, 1.0), min_size=1, max_size=12))
def test_the_correction_never_lowers_a_probability_and_keeps_the_order(alone: list[float]) -> None:
    chances = np.array(alone)
    together = adjusted(chances)
    assert (together >= chances).all()
    assert (together <= np.minimum(1.0, chances * len(chances)) + 1e-12).all()
    assert (np.diff(together[np.argsort(chances, kind="stable")]) >= 0).all()


@settings(max_examples=50)
@given(st.integers(0, 2**32 - 1), st.permutations([0, 1, 2]))
def test_names_do_not_matter(seed: int, renamed: list[int]) -> None:
    rng = np.random.default_rng(seed)
    setup = np.array([0, 1, 2, 2, 1, 0, 0, 1, 2])
    values, t_s = rng.normal(0.0, 0.01, 9), np.arange(9) * 300.0
    before = levels(sample(values, setup, t_s))
    after = levels(sample(values, np.array(renamed)[setup], t_s))
    for n in range(3):
        assert after.level[renamed[n]] == pytest.approx(before.level[n], abs=1e-12)
    one, other = contrast(3, 0, 1), contrast(3, renamed[0], renamed[1])
    assert p_value(after, other) == pytest.approx(p_value(before, one), rel=1e-6, abs=1e-12)


def test_a_significant_drift_is_removed() -> None:
    order, t_s = [0, 1, 1, 0, 0, 1, 1, 0], np.arange(8) * 360.0
    # 5 % an hour, and 1 % between the two; a tenth of a per cent of scatter.
    wobble = 1e-3 * np.array([1, -1, 1, -1, -1, 1, -1, 1])
    values = np.array([0.01 if n else 0.0 for n in order]) - 0.05 * t_s / 3600.0 + wobble
    fit = levels(sample(values, order, t_s))
    assert fit.with_drift
    assert fit.drift_per_h == pytest.approx(-0.05, abs=0.005)
    assert fit.freedom == 5
    assert fit.level[1] - fit.level[0] == pytest.approx(0.01, abs=2e-3)


def test_a_balanced_order_without_drift_spends_nothing_on_one() -> None:
    values = 1e-3 * np.array([1, -1, 1, -1, -1, 1, -1, 1])
    fit = levels(sample(values, [0, 1, 1, 0, 0, 1, 1, 0], np.arange(8) * 360.0))
    assert not fit.with_drift
    assert fit.freedom == 6


def test_a_drift_that_shows_within_set_ups_run_one_after_the_other_is_removed() -> None:
    wobble = 1e-3 * np.array([1, -1, 1, -1, 1, -1])
    quiet = levels(sample(wobble, [0, 0, 0, 1, 1, 1], np.arange(6) * 360.0))
    assert not quiet.with_drift
    fit = levels(sample(wobble - 0.02 * np.arange(6), [0, 0, 0, 1, 1, 1], np.arange(6) * 360.0))
    assert fit.with_drift
    row = contrast(2, 0, 1)
    # A possible drift makes the difference far less certain: by hand, the variance of a level
    # difference at 0, 1, 2 against 3, 4, 5 is 2/3 s^2 without and 2/3 + 9/4 s^2 with a drift.
    assert row @ quiet.inverse @ row == pytest.approx(2.0 / 3.0)
    assert row @ fit.inverse @ row == pytest.approx(2.0 / 3.0 + 9.0 / 4.0)


def test_days_are_not_compared_with_each_other() -> None:
    fit = levels(sample([0.0, 0.01, 0.2, 0.21], [0, 0, 1, 1], outing=[0, 0, 1, 1]))
    assert not fit.is_estimable(contrast(2, 0, 1))
    both = levels(sample([0.0, 0.1, 0.5, 0.6], [0, 1, 0, 1], outing=[0, 0, 1, 1]))
    assert both.is_estimable(contrast(2, 0, 1))
    # Everything is slower by a half on the second day, which is not part of the difference.
    assert both.level[1] - both.level[0] == pytest.approx(0.1)


def test_a_level_is_that_of_its_own_days_where_no_day_ties_it_to_others() -> None:
    values = [0.90, 0.92, 0.40, 0.42, 0.70, 0.60]
    fit = levels(sample(values, [0, 0, 1, 1, 2, 3], outing=[0, 0, 1, 1, 2, 2]))
    assert fit.level == pytest.approx([0.91, 0.41, 0.70, 0.60])
    assert fit.is_estimable(contrast(4, 2, 3))
    assert not fit.is_estimable(contrast(4, 0, 3))


def test_a_level_is_that_of_the_mean_of_the_days_of_its_group() -> None:
    fit = levels(sample([0.0, 0.1, 0.4, 0.5], [0, 1, 0, 1], outing=[0, 0, 1, 1]))
    assert fit.level == pytest.approx([0.2, 0.3])
    # The first is tied to the third by the second.
    chain = levels(sample([0.0, 0.1, 0.6, 0.8], [0, 1, 1, 2], outing=[0, 0, 1, 1]))
    assert chain.is_estimable(contrast(3, 0, 2))
    assert chain.level[2] - chain.level[0] == pytest.approx(0.3)


def test_with_one_value_each_nothing_is_known_of_scatter() -> None:
    fit = levels(sample([0.0, 0.1], [0, 1], [0.0, 300.0]))
    assert fit.freedom == 0
    assert math.isnan(fit.sd)
    assert math.isnan(fit.drift_p_value)


# By hand: the weight of all runs after the worst swap, as each run of a set-up weighs one over
# their number. A B B A: a half of A after the first, less all of B, plus the other half of A.
@pytest.mark.parametrize(
    ("order", "share"),
    [
        ("aabb", 1.0), ("bbaa", 1.0), ("ab", 1.0), ("aab", 1.0), ("abb", 1.0), ("aaaabbbba", 0.8),
        ("abba", 0.5), ("abab", 0.5), ("aba", 0.5), ("abbaabba", 0.25), ("aabbaabb", 0.5),
    ],
)  # fmt: skip
def test_how_much_of_a_step_would_pass_for_a_difference(order: str, share: float) -> None:
    setup = [0 if one == "a" else 1 for one in order]
    fit = levels(sample(np.zeros(len(order)), setup, np.arange(len(order))))
    assert fit.step_share(contrast(2, 0, 1)) == pytest.approx(share)


def test_a_balanced_outing_outweighs_one_in_blocks() -> None:
    setup, outing = [0, 0, 1, 1, 0, 1, 1, 0], [0, 0, 0, 0, 1, 1, 1, 1]
    some = levels(sample(np.zeros(8), setup, np.arange(8), outing))
    # Each outing has half the weight: a half of 1 and of a half, by independent steps.
    assert some.step_share(contrast(2, 0, 1)) == pytest.approx(math.hypot(0.5, 0.25))


@pytest.mark.parametrize(
    ("order", "expected"),
    [("aabb", True), ("bbaa", True), ("abba", False), ("abab", False), ("ab", True), ("aab", True)],
)
def test_one_after_the_other(order: str, expected: bool) -> None:
    setup = [0 if one == "a" else 1 for one in order]
    found = run_in_sequence(sample(np.zeros(len(order)), setup, np.arange(len(order))), 0, 1)
    assert found is expected


def test_one_balanced_outing_is_enough() -> None:
    setup, outing = [0, 0, 1, 1, 0, 1, 1, 0], [0, 0, 0, 0, 1, 1, 1, 1]
    some = sample(np.zeros(8), setup, np.arange(8), outing)
    assert not run_in_sequence(some, 0, 1)
    assert run_in_sequence(replace(some, outing=np.repeat([0, 1], 4), setup=np.array(
        [0, 0, 1, 1, 1, 1, 0, 0])), 0, 1)  # fmt: skip


def test_no_scatter_at_all() -> None:
    assert p_value_of(0.0, 0.0, 3.0) == 1.0
    assert p_value_of(0.1, 0.0, 3.0) == 0.0
