"""The current sensor's scale and zero, estimated from all charges jointly.

The balance of a charge is one equation: charge returned, less what was drawn without a log, equals
scale times the reported charge plus zero times its duration. All equations, and the profile's zero
with its standard deviation as one more, are solved by generalised least squares: the best linear
unbiased estimate, and the posterior mean under a flat prior on the scale. The profile's own scale
is under test and no prior. A charge of which only the energy was read joins those read in
ampere-hours, with the uncertainty of voltage and losses.

One charge, or several at the same mean current, determine the scale alone; the zero is then the
profile's. Charges that contradict the profile's zero determine both by themselves.
"""

import math
from collections.abc import Mapping, Sequence

import numpy as np

from groundside.studies.charge_balance import Charge, Conditions
from groundside.studies.charge_errors import Part, Parts, Source, charge_parts
from onboard.block import FloatArray
from onboard.contract.figure import Estimate, Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.dataclass import dataclass
from onboard.efficiency.battery.learned_practice import METERED_LEAST_FRACTION
from onboard.efficiency.statistics.shared_errors import Z_95, interval

LEAST_USED_FRACTION = 0.5
"""Least charge used over all charges, as a share of the pack: with less, the repeatability of
'full' matters too much. Common practice, no source."""

APART_LEAST, APART_RATIO = 3, 1.5
"""Fewest charges, and least ratio of their extreme mean currents, to separate scale and zero. Two
charges leave no degree of freedom to test their agreement. Common practice, no source."""

OFF_MOST = 2.0
"""Factor between the fitted and the profile's scale above which the cause is not a sensor error but
a missing ride or a mistaken unit. Common practice, no source."""

CONTRADICTED_Z = 2.326348
"""99 % quantile of the normal distribution (tables): one sensor does not explain charges that
disagree more."""

EXACT_ZERO_SD_A = 1e-6
"""Standard deviation of a zero that the profile states as exact [A]: finite for the algebra."""

CONTRADICTED = Unknown(Reason.CHARGES_CONTRADICT)


@dataclass(frozen=True)
class Correction:
    """The correction to use in place of the profile's.

    Parameters
    ----------
    scale
        True current over reported.
    scale_sd
        Its standard deviation.
    offset_a, offset_sd_a
        The zero, added after scaling; Unknown and NaN if the charges do not determine it.
    used
        Number of charges used.
    variances
        Part of the scale's variance that each source makes.
    """

    scale: Figure
    scale_sd: float
    offset_a: Estimate
    offset_sd_a: float
    used: int
    variances: Mapping[Source, float]


@dataclass(frozen=True)
class _Balance:
    """The equations; arrays of shape (n,), in Ah and h."""

    reported_ah: FloatArray
    hours_h: FloatArray
    drawn_ah: FloatArray
    """Charge drawn while logs ran, as the charger shows it."""
    parts: Parts
    """Its errors; the sensor's zero, which is estimated, is none of them."""

    @property
    def separates(self) -> bool:
        """Whether scale and zero can be separated."""
        amps = self.reported_ah / self.hours_h
        return len(amps) >= APART_LEAST and float(amps.max() / amps.min()) >= APART_RATIO

    def covariance(self) -> FloatArray:
        """Return the covariance of the charge drawn, shape (n, n)."""
        total: FloatArray = np.sum([part.covariance() for part in self.parts.values()], axis=0)
        return total

    def contradicts(self, fitted: "_Fit") -> bool:
        """Return whether the charges disagree by more than their errors, were none alike."""
        rest = self.drawn_ah - fitted.scale * self.reported_ah - fitted.offset_a * self.hours_h
        alike = sum(part.alike**2 for part in self.parts.values())
        loose = np.linalg.inv(self.covariance() + np.diag(alike))
        freedom = len(rest) - (2 if fitted.is_free else 1)
        return freedom > 0 and float(rest @ loose @ rest) > chi_square_most(freedom)


@dataclass(frozen=True)
class _Fit:
    """A solution: values, their covariance, shape (2, 2), and the variance of the scale."""

    scale: float
    offset_a: float
    covariance: FloatArray
    variances: Mapping[Source, float]
    is_free: bool
    """Whether the profile's zero had no say."""

    def sd(self, place: int) -> float:
        """Return the standard deviation of the scale (0) or the zero (1)."""
        return math.sqrt(float(self.covariance[place, place]))


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
    if all(one.charged_ah is None for one in usable):
        return reasons[0] if reasons else Unknown(Reason.NEEDS_AH)
    balance = _balance(usable, conditions)
    if float(balance.reported_ah.min()) <= 0.0:
        return Unknown(Reason.ONLY_ZERO)
    used = float(_back_ah(usable, conditions).sum()) / (conditions.pack_ah or math.inf)
    if used < LEAST_USED_FRACTION:
        return Unknown(Reason.TOO_LITTLE_USED, used_fraction=used)
    fitted = _fitted(balance, conditions)
    if balance.contradicts(fitted):
        return CONTRADICTED
    times = fitted.scale / conditions.sensors.current_scale
    if not 1.0 / OFF_MOST < times < OFF_MOST:
        return Unknown(Reason.NO_SENSORS_ERROR, times=times)
    apart = balance.separates
    alone = Unknown(Reason.SCALE_ALONE, charges=APART_LEAST, times=APART_RATIO)
    return Correction(
        interval(fitted.scale, fitted.sd(0)),
        fitted.sd(0),
        interval(fitted.offset_a, fitted.sd(1)) if apart else alone,
        fitted.sd(1) if apart else math.nan,
        len(usable),
        fitted.variances,
    )


def _why_not(charge: Charge, conditions: Conditions) -> Unknown | None:
    """Return why a charge is uninformative about the current sensor; None if informative."""
    if conditions.at_wall:
        return Unknown(Reason.METER_AT_WALL)
    if charge.charged_ah is None and charge.charged_wh is None:
        return Unknown(Reason.NEEDS_AH)
    if not charge.full_to_full:
        return Unknown(Reason.NOT_FULL_TO_FULL)
    if conditions.pack_ah is None:
        return Unknown(Reason.NO_PACK_SIZE)
    # Judged by the charge returned, as the sensor is in doubt.
    used = float(_back_ah([charge], conditions)[0]) / conditions.pack_ah
    if used < METERED_LEAST_FRACTION:
        return Unknown(Reason.TOO_LITTLE_USED, used_fraction=used)
    return None


def _back_ah(charges: Sequence[Charge], conditions: Conditions) -> FloatArray:
    """Return the charge put back, from the energy where no charge was read, shape (n,) [Ah]."""
    return np.array(
        [
            (one.charged_wh or 0.0)
            / ((1.0 + conditions.loss(one.counted).fraction) * one.counted.mean_v)
            if one.charged_ah is None
            else one.charged_ah
            for one in charges
        ]
    )


def _balance(charges: Sequence[Charge], conditions: Conditions) -> _Balance:
    sensors = conditions.sensors
    counted = np.array([one.counted.charge_ah for one in charges])
    hours = np.array([one.counted.sensor_hours_h for one in charges])
    back = _back_ah(charges, conditions)
    parts = dict(charge_parts(charges, back, conditions))
    del parts[Source.ZERO]
    losses = [conditions.loss(one.counted) for one in charges]
    of_energy = back * np.array([one.charged_ah is None for one in charges])
    loss_sd = np.array([loss.sd / (1.0 + loss.fraction) for loss in losses])
    parts[Source.LOSSES] = Part(loss_sd * of_energy, 0.0 * back)
    parts[Source.VOLTAGE] = Part(sensors.voltage_scale_sd * of_energy, 0.0 * back)
    return _Balance(
        (counted - sensors.current_offset_a * hours) / sensors.current_scale,
        hours,
        back - np.array([one.unlogged.mean_ah for one in charges]),
        parts,
    )


def _fitted(balance: _Balance, conditions: Conditions) -> _Fit:
    """Solve with the profile's zero, or without it where the charges contradict it."""
    stated_a, sd_a = conditions.sensors.current_offset_a, conditions.sensors.current_offset_sd_a
    if balance.separates:
        free = _solved(balance, 0.0, math.inf)
        if abs(free.offset_a - stated_a) > Z_95 * math.hypot(free.sd(1), sd_a):
            return free
    return _solved(balance, stated_a, max(sd_a, EXACT_ZERO_SD_A))


def _solved(balance: _Balance, zero_a: float, zero_sd_a: float) -> _Fit:
    """Solve by generalised least squares, with a zero known to a standard deviation [A]."""
    rows = np.stack([balance.reported_ah, balance.hours_h], axis=1)
    weight = np.linalg.inv(balance.covariance())
    known = np.array([0.0, zero_sd_a**-2.0])
    covariance: FloatArray = np.linalg.inv(rows.T @ weight @ rows + np.diag(known)).astype(float)
    gains = covariance @ rows.T @ weight
    scale, offset = gains @ balance.drawn_ah + covariance @ known * zero_a
    variances = {source: part.variance(gains[0]) for source, part in balance.parts.items()}
    variances[Source.ZERO] = float(covariance[0] @ known) * float(covariance[0, 1])
    return _Fit(float(scale), float(offset), covariance, variances, math.isinf(zero_sd_a))


def chi_square_most(freedom: int) -> float:
    """Return the 99 % quantile of chi square by the Wilson-Hilferty cube-root rule (memory).

    Examples
    --------
    >>> round(chi_square_most(4), 1)
    13.3
    """
    part = 2.0 / (9.0 * freedom)
    return float(freedom * (1.0 - part + CONTRADICTED_Z * math.sqrt(part)) ** 3)
