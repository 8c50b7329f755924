"""The water's motion, and its change, removed from double runs.

Within a double run the set-up is the same; its legs differ by the water along them. So a polynomial
of the water in time, one for each outing, is fitted to those differences only, and the means of the
double runs are corrected for the part that their weights do not cancel. Differences between double
runs are untouched: they are the subject of the comparison.

Runs on one line say nothing about the water across it. So the water is fitted along the main line
of an outing's courses, and across it only against a prior (`WATER_ACROSS_SD_MPS`): fitted
freely, the few degrees by which courses scatter would make metres per second of it.
"""

import numpy as np

from onboard.block import FloatArray
from onboard.dataclass import dataclass
from onboard.efficiency.curve.courses import line_directions
from onboard.efficiency.statistics.probability import f_survival
from onboard.efficiency.trial.double_runs import DoubleRun
from onboard.efficiency.trial.least_squares import LeastSquares
from onboard.efficiency.trial.leg import Leg
from onboard.efficiency.trial.trial_practice import (
    LEG_NOISE_FRACTION,
    LEG_NOISE_MPS,
    LEG_NOISE_WORTH,
    WATER_ACROSS_SD_MPS,
    WATER_CHANGE_FRACTION,
    WATER_CHANGE_SIGNIFICANCE,
    WATER_LINEAR_FROM,
    WATER_QUADRATIC_FROM,
    WATER_RESTLESS_FRACTION,
)


@dataclass(frozen=True)
class Water:
    """The water estimated from the legs.

    Parameters
    ----------
    along_mps
        Its contribution to each leg's speed, shape (legs,); NaN for legs of no double run.
    corrected_mps
        Speed of each double run without it, shape (double runs,).
    covariance
        Its covariance from the water's uncertainty alone, shape (double runs, double runs)
        [m^2/s^2].
    residual_mps, leverage
        Residual of each double run's legs among themselves, and the fit's leverage, shape (double
        runs,).
    leg_sd_mps
        Standard deviation of that residual for a leg, None without degrees of freedom.
    freedom
        Degrees of freedom behind it.
    change_mps
        Range of the water along the courses over the outing.
    changed
        Whether it changed, significantly and by a relevant amount.
    restless
        Whether it changed from leg to leg, as gusts do.
    """

    along_mps: FloatArray
    corrected_mps: FloatArray
    covariance: FloatArray
    residual_mps: FloatArray
    leverage: FloatArray
    leg_sd_mps: float | None
    freedom: float
    change_mps: float
    changed: bool
    restless: bool


def water(legs: list[Leg], doubles: list[DoubleRun], speeds_mps: FloatArray) -> Water:
    """Fit the water of all outings and correct the double runs for it.

    Parameters
    ----------
    legs, doubles
        The trial; at least one double run.
    speeds_mps
        Speed of each leg along its course, at the reference power, shape (legs,).
    """
    weights = np.zeros((len(doubles), len(legs)))
    inside = np.zeros((len(legs), len(legs)))
    for n, double in enumerate(doubles):
        numbers = list(double.legs)
        weights[n, numbers] = double.weights
        inside[np.ix_(numbers, numbers)] = np.eye(len(numbers)) - 1.0 / len(numbers)
    members = (weights > 0).astype(np.float64)
    course = _courses(legs)
    rows, constants, prior = _rows(legs, doubles, course)
    used = weights.sum(axis=0) > 0
    least = LeastSquares(inside @ rows[:, :constants], inside @ speeds_mps, prior[:constants])
    full = LeastSquares(inside @ rows, inside @ speeds_mps, prior)
    freedom = float(used.sum()) - len(doubles) - full.terms
    middle_mps = float(speeds_mps[used].mean())
    guess = LEG_NOISE_WORTH * (LEG_NOISE_FRACTION * middle_mps) ** 2
    variance = (full.squares + guess) / (max(freedom, 0.0) + LEG_NOISE_WORTH)
    terms = full.terms - least.terms
    along = np.where(used, rows @ full.solution, np.nan)
    change_mps = _change(legs, doubles, course, rows @ full.solution)
    sure = terms > 0.5 and freedom > 0.5 and (
        f_survival(
            (least.squares - full.squares) / terms / variance, terms, freedom + LEG_NOISE_WORTH
        )
        < WATER_CHANGE_SIGNIFICANCE
    )  # fmt: skip
    leg_sd = float(np.sqrt(full.squares / freedom)) if freedom > 0.5 else None
    left = weights @ rows
    return Water(
        along,
        weights @ speeds_mps - left @ full.solution,
        left @ (full.inverse * variance) @ left.T,
        np.sqrt(members @ (inside @ (speeds_mps - rows @ full.solution)) ** 2),
        members @ full.leverage,
        leg_sd,
        max(freedom, 0.0),
        change_mps,
        bool(sure and change_mps > WATER_CHANGE_FRACTION * middle_mps),
        leg_sd is not None and freedom > 1 and leg_sd > WATER_RESTLESS_FRACTION * middle_mps,
    )


def _rows(
    legs: list[Leg], doubles: list[DoubleRun], course: FloatArray
) -> tuple[FloatArray, int, FloatArray]:
    """Return the design matrix of the water, the number of its constant columns, and its prior.

    The columns are unit polynomials of the water along each leg, by component along and across the
    main line of the outing's courses: first the constants of all outings, then all higher powers. A
    lap has none: round a closed course a constant current cancels to first order.
    """
    constants: list[FloatArray] = []
    powers: list[FloatArray] = []
    for outing in sorted({double.outing for double in doubles}):
        here = np.array([leg.outing == outing for leg in legs])
        count = sum(double.outing == outing and not double.is_lap for double in doubles)
        degree = 2 if count >= WATER_QUADRATIC_FROM else 1 if count >= WATER_LINEAR_FROM else 0
        times = np.array([leg.middle_s for leg in legs])
        middle = (times[here].max() + times[here].min()) / 2.0
        half = max((times[here].max() - times[here].min()) / 2.0, 1.0)
        scaled = (times - middle) / half
        ahead = course @ _main_axes(course[here])
        constants.append(ahead * here[:, None])
        powers += [ahead * (here * scaled**n)[:, None] for n in range(1, degree + 1)]
    rows = np.concatenate([*constants, *powers], axis=1)
    across = (LEG_NOISE_MPS / WATER_ACROSS_SD_MPS) ** 2
    return rows, 2 * len(constants), np.tile([0.0, across], rows.shape[1] // 2)


def _courses(legs: list[Leg]) -> FloatArray:
    """Return the unit vector of each leg's course, shape (legs, 2); zero for a lap."""
    velocity = np.array([[leg.east_mps, leg.north_mps] for leg in legs])
    laps = np.array([leg.lap_m > 0.0 for leg in legs])
    return np.where(laps[:, None], 0.0, line_directions(np.where(laps[:, None], 1.0, velocity)))


def _main_axes(course: FloatArray) -> FloatArray:
    """Return unit vectors along and across the main line of some courses, as columns."""
    axes: FloatArray = np.asarray(np.linalg.eigh(course.T @ course)[1][:, ::-1], np.float64)
    return axes


def _change(
    legs: list[Leg], doubles: list[DoubleRun], course: FloatArray, along_mps: FloatArray
) -> float:
    """Return the widest range of the water along one line of courses, of all outings."""
    straight = [n for double in doubles if not double.is_lap for n in double.legs]
    if not straight:
        return 0.0
    cosines = course[straight] @ course[straight].T
    outing = np.array([legs[n].outing for n in straight])
    same = (outing[:, None] == outing) & (np.abs(cosines) > 0.99)
    signed = np.sign(cosines) * along_mps[straight]
    most = np.where(same, signed, -np.inf).max(axis=1)
    least = np.where(same, signed, np.inf).min(axis=1)
    return float((most - least).max())
