"""Quantiles of Student's t against scipy and published tables."""

import pytest
from scipy import stats

from onboard.efficiency.statistics.students_t import quantile

# 97.5 %, worked out with scipy 1.17.1; the same as in printed tables.
TABULATED = {
    1: 12.706205, 2: 4.302653, 3: 3.182446, 4: 2.776445, 5: 2.570582, 6: 2.446912, 7: 2.364624,
    8: 2.306004, 9: 2.262157, 10: 2.228139, 15: 2.131450, 20: 2.085963, 30: 2.042272,
    60: 2.000298, 120: 1.979930,
}  # fmt: skip


@pytest.mark.parametrize(("freedom", "value"), TABULATED.items())
def test_tabulated(freedom: int, value: float) -> None:
    assert quantile(freedom) == pytest.approx(value, abs=6e-7)


@pytest.mark.parametrize("freedom", [1.0, 1.7, 3.3, 42.0, 999.5, 9999.0, 10_000.0, 1e6])
@pytest.mark.parametrize("share", [0.02, 0.5, 0.6, 0.9, 0.995, 0.9999])
def test_any_share_and_freedom(freedom: float, share: float) -> None:
    expected = stats.t.ppf(share, freedom)
    assert quantile(freedom, share) == pytest.approx(expected, rel=3e-7, abs=1e-9)


@pytest.mark.parametrize(
    ("freedom", "share"), [(0.5, 0.9), (3, 0.0), (3, 1.0), (float("nan"), 0.9)]
)
def test_impossible_arguments_are_refused(freedom: float, share: float) -> None:
    with pytest.raises(ValueError, match="no quantile"):
        quantile(freedom, share)
