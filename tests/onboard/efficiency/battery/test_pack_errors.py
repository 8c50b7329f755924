"""What the filter assumes of cells, against published ones; figures along the shared errors."""

import numpy as np
import pytest

from onboard.chemistry import CHEMISTRIES
from onboard.efficiency.battery.ocv_curve import OCV_CURVES, SPREAD_FACTORS
from onboard.efficiency.battery.pack_errors import (
    CORRELATION_LENGTH,
    CURVE,
    SIZE,
    curve_given_shared,
    prior,
)
from onboard.efficiency.statistics.shared_errors import COUNT
from onboard.profile import Battery, Sensors
from tests.onboard.efficiency.battery.made_packs import LI_ION, further, published

LI_ION_TABLE = OCV_CURVES["li-ion"]


def deviations(cells: list[np.ndarray]) -> np.ndarray:
    """Return deviations from the table in its standard deviations, from 0.05 to 0.95 of charge."""
    row = CHEMISTRIES["li-ion"]
    return np.array([(volts - row.ocv_v) / row.ocv_sd_v for volts in cells])[:, 1:-1]


def test_other_cells_spread_wider_than_those_of_the_table() -> None:
    z = deviations(list(further().values()))
    assert float(np.sqrt((z**2).mean())) == pytest.approx(1.23, abs=0.01)
    assert SPREAD_FACTORS["li-ion"] == pytest.approx(1.23, abs=0.03)
    volts = LI_ION_TABLE.knot_v(np.array([0.4]))
    assert volts.sum() == pytest.approx(1.25 * CHEMISTRIES["li-ion"].ocv_sd_v[8])


def test_deviations_correlate_over_the_stated_length() -> None:
    used = [published()[name] for name in ("Chen2020", "Mohtat2020", "Ai2020")]
    z = deviations([*used, *further().values()])
    found = [float((z[:, :-n] * z[:, n:]).mean() / (z**2).mean()) for n in (2, 4, 6, 8)]
    assert found == pytest.approx([0.91, 0.75, 0.53, 0.34], abs=0.01)
    apart = np.array([0.1, 0.2, 0.3, 0.4])
    assert found == pytest.approx(np.exp(-((apart / CORRELATION_LENGTH) ** 2) / 2), abs=0.03)


def test_a_stated_energy_leaves_the_mean_voltage_no_spread() -> None:
    both = Battery("li-ion", 14, 25.0, energy_wh=1300.0)
    free, bound = (prior(Sensors(), one, LI_ION_TABLE)[CURVE, CURVE] for one in (LI_ION, both))
    at = LI_ION_TABLE.fraction
    level = np.trapezoid(LI_ION_TABLE.knot_v(at), at, axis=0)
    assert level @ bound @ level == pytest.approx(0.0, abs=1e-12)
    assert np.sqrt(level @ free @ level) > 0.03
    assert np.linalg.eigvalsh(bound)[0] > -1e-12


def test_a_figure_along_the_shared_errors_has_the_same_variance_and_covariances() -> None:
    # Any covariance, any gradients: g' P g and its covariance with any other figure are kept.
    rng = np.random.default_rng(3)
    root = rng.standard_normal((SIZE, SIZE))
    whole = root @ root.T
    gradient, other = np.zeros(SIZE), np.zeros(SIZE)
    gradient[:COUNT], other[:COUNT] = rng.standard_normal((2, COUNT))
    gradient[CURVE] = rng.standard_normal(len(gradient[CURVE]))
    coefficients, rest = curve_given_shared(whole)
    along = gradient[:COUNT] + gradient[CURVE] @ coefficients
    own = gradient[CURVE] @ rest @ gradient[CURVE]
    shared = whole[:COUNT, :COUNT]
    assert along @ shared @ along + own == pytest.approx(gradient @ whole @ gradient)
    assert along @ shared @ other[:COUNT] == pytest.approx(gradient @ whole @ other)
    assert own > 0.0
