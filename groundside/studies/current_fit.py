"""The current sensor's scale, and with enough charges its zero, fitted to the charge returned.

The balance of a charge is one equation: charge returned, times the share that a pack gives back,
less the charge drawn without a log, equals scale times the reported charge plus zero times its
duration. One charge, or several at the same mean current, determine the scale alone.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from onboard.block import FloatArray
from onboard.contract.figure import Estimate, Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.battery.charge_balance import Charge, Conditions, own_variance_ah2
from onboard.efficiency.battery.round_trip import CHARGE_SD_FRACTION
from onboard.efficiency.statistics.shared_errors import Z_95

LEAST_USED_FRACTION = 0.5
"""Least charge used, as a share of the pack: with less, the repeatability of 'full' matters too
much. Common practice, no source."""

APART_LEAST, APART_RATIO = 3, 1.5
"""Fewest charges, and least ratio of their extreme mean currents, to separate scale and zero. Two
charges leave no degree of freedom to test their agreement. Common practice, no source."""

OFF_MOST = 2.0
"""Factor between the fitted and the profile's scale above which the cause is not a sensor error but
a missing ride or a mistaken unit. Common practice, no source."""

CONTRADICTED_Z = 2.326348
"""99 % quantile of the normal distribution (tables): one sensor does not explain charges that
disagree more."""

CONTRADICTED = Unknown(Reason.CHARGES_CONTRADICT)


@dataclass(frozen=True)
class Correction:
    """The correction to use in place of the profile's.

    Parameters
    ----------
    scale
        True current over reported.
    scale_sd
        Its standard deviation, of the wider side.
    offset_a, offset_sd_a
        The zero, added after scaling; Unknown and NaN if the charges do not determine it.
    used
        Number of charges used.
    """

    scale: Figure
    scale_sd: float
    offset_a: Estimate
    offset_sd_a: float
    used: int


@dataclass(frozen=True)
class _Balance:
    """The equations; all arrays have shape (n,), in Ah and h."""

    reported_ah: FloatArray
    hours_h: FloatArray
    back_ah: FloatArray
    most_ah: FloatArray
    covariance: FloatArray

    @property
    def separates(self) -> bool:
        """Whether scale and zero can be separated."""
        amps = self.reported_ah / self.hours_h
        return len(amps) >= APART_LEAST and float(amps.max() / amps.min()) >= APART_RATIO


def current_correction(charges: Sequence[Charge], conditions: Conditions) -> Correction | Unknown:
    """Return the correction of the current estimated from the charges.

    Parameters
    ----------
    charges
        All charges; those without information on the current are skipped.
    conditions
        Properties of pack, meter and sensors.

    Returns
    -------
    Correction or Unknown
        The correction with 95 % intervals; Unknown if no charge is informative.
    """
    usable = []
    reasons = []
    for one in charges:
        why_not = _why_not(one, conditions)
        if why_not is None:
            usable.append(one)
        else:
            reasons.append(why_not)
    if not usable:
        return reasons[0]
    balance = _balance(usable, conditions)
    if float(balance.reported_ah.min()) <= 0.0:
        return Unknown(Reason.ONLY_ZERO)
    found = _both(balance) if balance.separates else _scale_alone(balance, conditions)
    if isinstance(found, Unknown):
        return found
    times = found.scale.value / conditions.sensors.current_scale
    if not 1.0 / OFF_MOST < times < OFF_MOST:
        return Unknown(Reason.NO_SENSORS_ERROR, times=times)
    return found


def _why_not(charge: Charge, conditions: Conditions) -> Unknown | None:
    """Return why a charge is uninformative about the current sensor; None if informative."""
    if conditions.at_wall:
        return Unknown(Reason.METER_AT_WALL)
    if charge.charged_ah is None:
        return Unknown(Reason.NEEDS_AH)
    if not charge.full_to_full:
        return Unknown(Reason.NOT_FULL_TO_FULL)
    if conditions.pack_ah is None:
        return Unknown(Reason.NO_PACK_SIZE)
    # Judged by the charge returned, as the sensor is in doubt.
    used = charge.charged_ah / conditions.pack_ah
    if used < LEAST_USED_FRACTION:
        return Unknown(Reason.TOO_LITTLE_USED, used_fraction=used)
    return None


def _balance(charges: Sequence[Charge], conditions: Conditions) -> _Balance:
    sensors = conditions.sensors
    counted = np.array([one.counted.charge_ah for one in charges])
    hours = np.array([one.counted.sensor_hours_h for one in charges])
    back = np.array([one.charged_ah or 0.0 for one in charges])
    own = np.array([own_variance_ah2(one, conditions) for one in charges])
    shared = math.hypot(CHARGE_SD_FRACTION, conditions.meter_sd_fraction) * back
    return _Balance(
        (counted - sensors.current_offset_a * hours) / sensors.current_scale,
        hours,
        back - np.array([one.unlogged.charge_ah for one in charges]),
        np.array([one.unlogged.most_ah for one in charges]),
        np.diag(own) + np.outer(shared, shared),
    )


def _scale_alone(balance: _Balance, conditions: Conditions) -> Correction | Unknown:
    """Fit the scale, with the profile's zero and its uncertainty."""
    sensors = conditions.sensors
    off = sensors.current_offset_sd_a * balance.hours_h
    covariance = balance.covariance + np.outer(off, off)
    rows = balance.reported_ah[:, None]
    back = balance.back_ah - sensors.current_offset_a * balance.hours_h
    found = _fit(rows, back, balance.most_ah, covariance)
    if isinstance(found, Unknown):
        return found
    ((scale, sd),) = found
    why = Unknown(Reason.SCALE_ALONE, charges=APART_LEAST, times=APART_RATIO)
    return Correction(scale, sd, why, math.nan, len(back))


def _both(balance: _Balance) -> Correction | Unknown:
    rows = np.stack([balance.reported_ah, balance.hours_h], axis=1)
    found = _fit(rows, balance.back_ah, balance.most_ah, balance.covariance)
    if isinstance(found, Unknown):
        return found
    (scale, sd), (offset, offset_sd) = found
    return Correction(scale, sd, offset, offset_sd, len(rows))


def _fit(
    rows: FloatArray, back_ah: FloatArray, most_ah: FloatArray, covariance: FloatArray
) -> list[tuple[Figure, float]] | Unknown:
    """Fit by generalised least squares; return each value and the sd of its wider side.

    Parameters
    ----------
    rows
        Design matrix, shape (n, k).
    back_ah, most_ah
        Charge returned, and the upper bound of its part drawn without a log, shape (n,) [Ah].
    covariance
        Covariance of the charge returned, shape (n, n) [Ah^2].
    """
    weight = np.linalg.inv(covariance)
    errors = np.linalg.inv(rows.T @ weight @ rows)
    values = errors @ (rows.T @ weight @ back_ah)
    rest = back_ah - rows @ values
    freedom = len(back_ah) - rows.shape[1]
    loose = np.linalg.inv(covariance + np.diag(most_ah**2) / 12.0)
    if freedom and float(rest @ loose @ rest) > chi_square_most(freedom):
        return CONTRADICTED
    others = errors @ (rows.T @ weight @ (back_ah - most_ah))
    found = []
    for value, other, variance in zip(values, others, np.diag(errors), strict=True):
        reach = Z_95 * math.sqrt(variance)
        low, high = min(value, other) - reach, max(value, other) + reach
        figure = Figure(float(value), float(low), float(high))
        found.append((figure, float(max(value - low, high - value)) / Z_95))
    return found


def chi_square_most(freedom: int) -> float:
    """Return the 99 % quantile of chi square by the Wilson-Hilferty cube-root rule (memory).

    Examples
    --------
    >>> round(chi_square_most(4), 1)
    13.3
    """
    part = 2.0 / (9.0 * freedom)
    return float(freedom * (1.0 - part + CONTRADICTED_Z * math.sqrt(part)) ** 3)
