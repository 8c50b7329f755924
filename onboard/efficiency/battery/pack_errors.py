"""The errors that a pack's filter tracks: those shared by all figures, and some of its own.

METER is the error of the charger's meter and of what the pack gives back, LOSS that of its energy
loss, both in units of their standard deviation: they are the same at every charge, so a hundred
charges do not average them out. CURVE are deviations of these cells from
the table of open-circuit voltages at `ocv_curve.KNOTS`, in units of the table's spread: the same
cells are read at every rest. They outlast a ride and are never corrected, only considered; see
`charge_state`.
"""

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.battery.ocv_curve import KNOTS, OcvCurve
from onboard.efficiency.statistics.shared_errors import COUNT, prior_covariance
from onboard.profile import Battery, Sensors

METER, LOSS = COUNT, COUNT + 1
CURVE = slice(LOSS + 1, LOSS + 1 + len(KNOTS))
"""Indices after those of `shared_errors`."""

SIZE = CURVE.stop

CORRELATION_LENGTH = 0.27
"""State of charge over which deviations of a cell from the table stay alike: their correlation is
exp(-d^2 / 2 L^2). Six published cells: 0.91 over 0.1, 0.75 over 0.2, 0.53 over 0.3, 0.34 over 0.4
(`tests/data/pybamm_ocv_soc.csv`, `pybamm_ocv_further.csv`)."""


def prior(sensors: Sensors, battery: Battery, ocv: OcvCurve) -> FloatArray:
    """Return the covariance of a pack's errors before anything is measured, (SIZE, SIZE)."""
    covariance = np.zeros((SIZE, SIZE))
    covariance[:COUNT, :COUNT] = prior_covariance(sensors, battery)
    covariance[METER, METER] = covariance[LOSS, LOSS] = 1.0
    apart = KNOTS[:, None] - KNOTS[None, :]
    curve = np.exp(-0.5 * (apart / CORRELATION_LENGTH) ** 2)
    if battery.energy_wh is not None:
        # The mean voltage is stated: cells differ in the curve's shape only.
        level = np.trapezoid(ocv.knot_v(ocv.fraction), ocv.fraction, axis=0)
        shared = curve @ level
        curve = curve - np.outer(shared, shared) / float(level @ shared)
    covariance[CURVE, CURVE] = curve
    return covariance


def curve_given_shared(covariance: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Split the curve's deviations into what the shared errors explain and the rest.

    A figure that depends on the curve can so be stated along the shared errors alone.

    Parameters
    ----------
    covariance
        Of a pack's errors, shape (SIZE, SIZE).

    Returns
    -------
    tuple of numpy.ndarray
        Regression coefficients on the shared errors, (knots, 5), and covariance of the
        independent rest, (knots, knots).
    """
    across = covariance[CURVE, :COUNT]
    known = np.linalg.pinv(covariance[:COUNT, :COUNT], hermitian=True)
    coefficients = across @ known
    return coefficients, covariance[CURVE, CURVE] - coefficients @ across.T
