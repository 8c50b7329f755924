"""Set-ups at a cruising speed: consumption at a common speed instead of a common power.

Equal power is the fair test, since power is what was held; a difference d in ln speed at equal
power is one of d / m in ln power at equal speed, with m = d ln speed / d ln power.

By the slope. A set-up made the speed v1 at the power P1, at which it was run. At the speed v

    ln P = ln P1 + (ln v - ln v1) / m.

By the delta method the variance of ln P is that of ln v1 over m^2, plus that of m times
((ln v - ln v1) / m^2)^2. The slope is known where the set-ups are compared, and changes from there
as a random walk in ln P: the mean of a walk of variance q x over a stretch L has the variance
q L / 3, its value at the end q L.

By the set-up's own curve, along the part from the power of the runs to that of the speed, if it was
ridden there too. The estimate with the smaller variance counts.
"""

import math
from collections.abc import Mapping

import numpy as np

from onboard.block import FloatArray
from onboard.contract.figure import Estimate, Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.dataclass import dataclass
from onboard.efficiency.common_practice import CURVE_BLOCKS_LEAST, CURVE_SYSTEMATIC_SD
from onboard.efficiency.curve.speed_power import Posterior, knot_weights
from onboard.efficiency.statistics.shared_errors import Z_95
from onboard.efficiency.trial.equal_power import CurveSlope
from onboard.efficiency.trial.results import Comparison, Place, SetupResult
from onboard.efficiency.trial.trial_practice import (
    CRUISE_FAR_FRACTION,
    CURVE_APART_FRACTION,
    CURVE_NEAR_FRACTION,
    DOUBLE_RUN_SD_FRACTION,
)

SLOPE_WALK = 0.026
"""Variance of the slope's change over a unit of ln P: from a third, where friction dominates, to a
fifth, where wave-making sets in, within a factor of two of power: (1/3 - 1/5)^2 / ln 2."""


@dataclass(frozen=True)
class OwnCurve:
    """A set-up's own curve.

    Parameters
    ----------
    curve
        Fitted to its steady stretches.
    power_w
        Their powers, shape (stretches,).
    """

    curve: Posterior
    power_w: FloatArray


@dataclass(frozen=True)
class SetupCruise:
    """A set-up at the speed of the cruise.

    Parameters
    ----------
    name
        Its label.
    wh_per_km
        Consumption; its interval holds the sensors' gain, which all set-ups share.
    behind_fraction
        Wh/km above the first's at that speed, as a share of the first's; 0 for the first itself.
    by_own_curve
        Whether it was read off the set-up's own curve, not reckoned by the slope.
    sd_fraction
        Relative standard deviation of the consumption without the sensors' gain; NaN if unknown.
    """

    name: str
    wh_per_km: Estimate
    behind_fraction: Estimate
    by_own_curve: bool
    sd_fraction: float


@dataclass(frozen=True)
class Cruise:
    """The set-ups at one speed.

    Parameters
    ----------
    speed_mps
        The speed through the water.
    setups
        In the order of the ranking at equal power; the first is the one to compare with.
    """

    speed_mps: float
    setups: tuple[SetupCruise, ...]


@dataclass(frozen=True)
class _Power:
    """ln of the power that a speed takes, and its standard deviation without the sensors' gain."""

    ln_power: float
    sd: float
    by_own_curve: bool


@dataclass(frozen=True)
class _Run:
    """The runs of a set-up: ln of their power, ln of their speed, and the variance of that."""

    ln_power: float
    ln_speed: float
    variance: float


def cruise_at(speed_mps: float, found: Comparison, curves: Mapping[str, OwnCurve]) -> Cruise:
    """Return what each set-up takes at a speed.

    Parameters
    ----------
    speed_mps
        The speed through the water.
    found
        The comparison at equal power.
    curves
        The curve of each set-up that has steady stretches.
    """
    powers = [_power(speed_mps, one, found.slope, curves.get(one.name)) for one in found.setups]
    places = {one.name: one for one in found.places}
    rows = [
        SetupCruise(
            one.name,
            _consumption(speed_mps, power, found.shared_sd_fraction),
            Figure(0.0) if n == 0 else _behind(power, powers[0], places[one.name], found),
            power is not None and power.by_own_curve,
            math.nan if power is None else power.sd,
        )
        for n, (one, power) in enumerate(zip(found.setups, powers, strict=True))
    ]
    return Cruise(speed_mps, tuple(rows))


def _power(
    speed_mps: float, one: SetupResult, slope: CurveSlope, own: OwnCurve | None
) -> _Power | None:
    """Return the power that a speed takes; None if it is too far from the speeds run."""
    run = _run(one, slope)
    if run is None:
        return None
    read = [_by_slope(run, slope, speed_mps), _by_curve(run, own, speed_mps)]
    known = [power for power in read if power is not None]
    return min(known, key=lambda power: power.sd, default=None)


def _run(one: SetupResult, slope: CurveSlope) -> _Run | None:
    speed = one.speed_mps
    if isinstance(speed, Unknown) or speed.low is None or speed.high is None:
        return None
    by_power = math.log1p(one.correction_fraction)
    # The interval of the speed at equal power holds the slope's share; that at the runs' has none.
    variance = _sd(speed) ** 2 - (by_power / slope.value * slope.sd) ** 2
    return _Run(math.log(one.run_power_w), math.log(speed.value) - by_power, max(variance, 0.0))


def _by_slope(run: _Run, slope: CurveSlope, speed_mps: float) -> _Power | None:
    """Return the power by the slope, from the speed and the power of the runs."""
    ahead = math.log(speed_mps) - run.ln_speed
    if abs(math.expm1(ahead)) > CRUISE_FAR_FRACTION:
        return None
    way = ahead / slope.value
    of_slope = slope.sd**2 + SLOPE_WALK * abs(way) / 3.0
    variance = (run.variance + way**2 * of_slope) / slope.value**2
    return _Power(run.ln_power + way, math.sqrt(variance), False)


def _by_curve(run: _Run, own: OwnCurve | None, speed_mps: float) -> _Power | None:
    """Return the power by a set-up's own curve, if it was ridden at that power.

    About the power of the runs it says nothing that the runs do not: its slope there is chance.
    """
    if own is None or not own.curve.determines_water:
        return None
    curve, from_runs = own.curve, knot_weights(np.array([run.ln_power]))[0]
    # Water across the courses raises the whole curve: only the way along it counts.
    speed = float(from_runs @ curve.ln_speed) + math.log(speed_mps) - run.ln_speed
    ln_power, slope = (float(v[0]) for v in curve.ln_power_at(np.exp(np.array([speed]))))
    near = np.abs(np.log(own.power_w) - ln_power) < CURVE_NEAR_FRACTION
    apart = abs(ln_power - run.ln_power) > CURVE_APART_FRACTION
    if not apart or np.count_nonzero(near) < CURVE_BLOCKS_LEAST:
        return None
    row = knot_weights(np.array([ln_power]))[0] - from_runs
    of_way = float(row @ curve.covariance[2:, 2:] @ row) + CURVE_SYSTEMATIC_SD**2
    # It was ridden there once or twice: what makes runs differ does not average out.
    variance = run.variance + of_way + DOUBLE_RUN_SD_FRACTION**2
    return _Power(ln_power, math.sqrt(variance) / slope, True)


def _consumption(speed_mps: float, power: _Power | None, shared_sd: float) -> Estimate:
    if power is None:
        return Unknown(Reason.NOT_LEARNED_THERE)
    return _figure(math.exp(power.ln_power) / 3.6 / speed_mps, math.hypot(power.sd, shared_sd))


def _behind(
    power: _Power | None, first: _Power | None, place: Place, found: Comparison
) -> Estimate:
    """Return a set-up's Wh/km above the first's at the same speed, as a share of the first's."""
    if power is None or first is None:
        return Unknown(Reason.NOT_LEARNED_THERE)
    if power.by_own_curve or first.by_own_curve:
        return _less_one(power.ln_power - first.ln_power, math.hypot(power.sd, first.sd))
    there = place.behind_fraction
    if isinstance(there, Unknown):
        return there
    # Both are reckoned by one slope, whose error is largely theirs in common.
    slope, difference = found.slope, math.log1p(there.value)
    of_slope = slope.sd**2 + SLOPE_WALK * abs(first.ln_power - math.log(found.power_w))
    by_slope = difference / slope.value * math.sqrt(of_slope)
    one_more = Figure(1.0 + there.value, 1.0 + (there.low or 0.0), 1.0 + (there.high or 0.0))
    sd = math.hypot(_sd(one_more), by_slope) / slope.value
    return _less_one(difference / slope.value, sd)


def _sd(figure: Figure) -> float:
    """Return the relative standard deviation of which the normal interval is as wide."""
    assert figure.low is not None
    assert figure.high is not None
    return math.log(figure.high / figure.low) / 2.0 / Z_95


def _figure(value: float, sd: float) -> Figure:
    return Figure(value, value * math.exp(-Z_95 * sd), value * math.exp(Z_95 * sd))


def _less_one(logarithm: float, sd: float) -> Figure:
    return Figure(*(math.expm1(logarithm + sign * Z_95 * sd) for sign in (0.0, -1.0, 1.0)))
