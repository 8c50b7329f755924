"""Set and drift as shown: only components that the courses determine."""

import numpy as np
import pytest

from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.common_practice import WATER_FLOOR_SD_MPS
from onboard.efficiency.curve.set_and_drift import set_and_drift
from onboard.efficiency.curve.speed_power import KNOTS, Posterior


def known(east_sd: float, north_sd: float, correlation: float = 0.0) -> Posterior:
    covariance = np.eye(2 + len(KNOTS)) * 1e-4
    mixed = correlation * east_sd * north_sd
    covariance[:2, :2] = [[east_sd**2, mixed], [mixed, north_sd**2]]
    return Posterior(np.array([0.2, -0.1]), KNOTS / 3, covariance, (1.0, 2.0), 20, 0.02, 1e-4)


def test_both_components_where_both_are_determined() -> None:
    found = set_and_drift(known(0.02, 0.03))
    reach = 1.959964 * np.hypot(0.02, WATER_FLOOR_SD_MPS)
    assert (found.east_mps.low, found.east_mps.high) == pytest.approx((0.2 - reach, 0.2 + reach))
    assert found.north_mps.value == -0.1
    assert found.covariance_m2ps2[2] == pytest.approx(0.03**2 + WATER_FLOOR_SD_MPS**2)


def test_reciprocal_courses_determine_only_the_component_along_them() -> None:
    found = set_and_drift(known(0.3, 0.02))
    assert isinstance(found.east_mps, Unknown)
    assert found.north_mps.value == -0.1
    # On a diagonal neither component is known, but by the covariance their sum is.
    slant = set_and_drift(known(0.2, 0.2, correlation=0.998))
    assert isinstance(slant.east_mps, Unknown)
    assert isinstance(slant.north_mps, Unknown)
    east, mixed, north = slant.covariance_m2ps2
    assert east + north - 2 * mixed < 2.2 * WATER_FLOOR_SD_MPS**2


def test_nothing_without_an_estimate() -> None:
    assert isinstance(set_and_drift(known(0.3, 0.2)), Unknown)
    assert set_and_drift(None) == Unknown(Reason.NO_STEADY_STRETCH)
