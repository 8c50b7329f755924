"""Probabilities against scipy's, over a wide range."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special, stats

from onboard.efficiency.statistics.probability import f_survival, regularized_beta, t_two_sided

freedoms = st.floats(0.3, 1e6)


@pytest.mark.slow
@settings(max_examples=300)
@given(st.floats(0.05, 1e4), st.floats(0.05, 1e4), st.floats(0.0, 1.0))
def test_incomplete_beta_function(a: float, b: float, x: float) -> None:
    assert regularized_beta(a, b, x) == pytest.approx(special.betainc(a, b, x), rel=1e-8, abs=1e-11)


@pytest.mark.slow
@settings(max_examples=300)
@given(st.floats(-200.0, 200.0), freedoms)
def test_students_t(t: float, freedom: float) -> None:
    expected = 2.0 * stats.t.sf(abs(t), freedom)
    assert t_two_sided(t, freedom) == pytest.approx(expected, rel=1e-7, abs=1e-12)


@pytest.mark.slow
@settings(max_examples=300)
@given(st.floats(0.0, 1e4), st.floats(0.5, 500.0), freedoms)
def test_f(f: float, over: float, under: float) -> None:
    expected = stats.f.sf(f, over, under)
    assert f_survival(f, over, under) == pytest.approx(expected, rel=1e-7, abs=1e-12)


@pytest.mark.parametrize("t", [12.0, 30.0, 80.0])
@pytest.mark.parametrize("freedom", [1.0, 4.0, 25.0, 300.0])
def test_small_probabilities_keep_their_digits(t: float, freedom: float) -> None:
    assert t_two_sided(t, freedom) == pytest.approx(2.0 * stats.t.sf(t, freedom), rel=1e-9)


# 97.5 % of Student's t, scipy 1.17.1: 5 % lie outside.
@pytest.mark.parametrize(
    ("freedom", "t"), [(1, 12.706205), (2, 4.302653), (6, 2.446912), (10, 2.228139), (30, 2.042272)]
)
def test_tabulated_t(freedom: int, t: float) -> None:
    assert t_two_sided(t, freedom) == pytest.approx(0.05, abs=5e-8)


# NIST StRD SiRstv (F certified), p by scipy's f_oneway.
def test_certified_f() -> None:
    assert f_survival(1.18046237440255, 4, 20) == pytest.approx(0.349447, abs=5e-7)


def test_ends() -> None:
    assert (regularized_beta(2.0, 3.0, 0.0), regularized_beta(2.0, 3.0, 1.0)) == (0.0, 1.0)
    assert t_two_sided(0.0, 5.0) == f_survival(0.0, 2.0, 5.0) == f_survival(-1.0, 2.0, 5.0) == 1.0
    assert t_two_sided(math.inf, 5.0) == 0.0
