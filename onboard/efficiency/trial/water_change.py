"""Taking the water's motion, and its change, out of double runs.

Within a double run the set-up is the same; what its legs differ by is the water along them. So a
polynomial of time for the water, one for each outing, is fitted to those differences only, and the
double runs' means are freed of what their weights leave of it. What double runs differ by among
themselves is not touched: that is what the comparison is about.
"""

from dataclasses import dataclass

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.curve.courses import lines
from onboard.efficiency.statistics.probability import f_survival
from onboard.efficiency.trial.double_runs import DoubleRun
from onboard.efficiency.trial.leg import Leg

DEGREE_2_FROM, DEGREE_1_FROM = 6, 3
"""So many double runs of an outing before the water may bend, or change at all."""

NOISE_FRACTION, NOISE_WORTH = 0.01, 2.0
"""A leg's speed repeats to about 1 %, and how many degrees of freedom that guess is worth. Common
practice, no source."""

SURE, CHANGE_FRACTION, RESTLESS_FRACTION = 0.01, 0.02, 0.03
"""The water changed if chance alone seldom does that, and if it is 2 % of the speed; or if the legs
differ from it by 3 %, as in gusts."""


@dataclass(frozen=True)
class Water:
    """The water as the legs show it.

    Parameters
    ----------
    along_mps
        What it added to each leg's speed, shape (legs,); NaN for legs of no double run.
    corrected_mps
        Speed of each double run, free of it, shape (double runs,).
    covariance
        Of that, by the water's uncertainty alone, shape (double runs, double runs) [m^2/s^2].
    residual_mps, leverage
        What is left of each double run's legs among themselves, and how much the fit follows it,
        shape (double runs,).
    leg_sd_mps
        Standard deviation of that for a leg, None with nothing to tell it by.
    freedom
        Degrees of freedom behind it.
    change_mps
        By how much the water along the courses changed from first to last.
    changed
        Whether it changed: more than chance does, and by enough to matter.
    restless
        Whether it changed from leg to leg, as gusts do.
    """

    along_mps: FloatArray
    corrected_mps: FloatArray
    covariance: FloatArray
    residual_mps: FloatArray
    leverage: FloatArray
    leg_sd_mps: float | None
    freedom: int
    change_mps: float
    changed: bool
    restless: bool


def water(legs: list[Leg], doubles: list[DoubleRun], speeds_mps: FloatArray) -> Water:
    """Fit the water of all outings and free the double runs of it.

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
    rows, constants = _rows(legs, doubles)
    used = weights.sum(axis=0) > 0
    least = _fit(inside @ rows[:, :constants], inside @ speeds_mps)
    full = _fit(inside @ rows, inside @ speeds_mps)
    freedom = int(used.sum()) - len(doubles) - full.rank
    middle_mps = float(speeds_mps[used].mean())
    guess = NOISE_WORTH * (NOISE_FRACTION * middle_mps) ** 2
    variance = (full.squares + guess) / (max(freedom, 0) + NOISE_WORTH)
    more = full.rank - least.rank
    along = np.where(used, rows @ full.solution, np.nan)
    change_mps = _change(legs, doubles, rows, full.solution)
    sure = more > 0 and freedom > 0 and (
        f_survival((least.squares - full.squares) / more / variance, more, freedom + NOISE_WORTH)
        < SURE
    )  # fmt: skip
    leg_sd = float(np.sqrt(full.squares / freedom)) if freedom > 0 else None
    left = weights @ rows
    return Water(
        along,
        weights @ speeds_mps - left @ full.solution,
        left @ (full.inverse * variance) @ left.T,
        np.sqrt(members @ (inside @ (speeds_mps - rows @ full.solution)) ** 2),
        members @ np.einsum("ij,jk,ik->i", inside @ rows, full.inverse, inside @ rows),
        leg_sd,
        max(freedom, 0),
        change_mps,
        bool(sure and change_mps > CHANGE_FRACTION * middle_mps),
        leg_sd is not None and freedom > 1 and leg_sd > RESTLESS_FRACTION * middle_mps,
    )


@dataclass(frozen=True)
class _Fit:
    solution: FloatArray
    inverse: FloatArray
    squares: float
    rank: int


def _fit(rows: FloatArray, right: FloatArray) -> _Fit:
    inverse: FloatArray = np.asarray(
        np.linalg.pinv(rows.T @ rows, rcond=1e-9, hermitian=True), np.float64
    )
    solution = inverse @ rows.T @ right
    off = right - rows @ solution
    return _Fit(solution, inverse, float(off @ off), int(np.linalg.matrix_rank(rows, tol=1e-6)))


def _rows(legs: list[Leg], doubles: list[DoubleRun]) -> tuple[FloatArray, int]:
    """Return what unit polynomials of the water, east and north, add to each leg.

    First the constants of all outings, so many as is said, then all higher powers.
    """
    velocity = np.array([[one.east_mps, one.north_mps] for one in legs])
    course = lines(velocity)
    constants: list[FloatArray] = []
    powers: list[FloatArray] = []
    for outing in sorted({double.outing for double in doubles}):
        here = np.array([one.outing == outing for one in legs])
        count = sum(double.outing == outing for double in doubles)
        degree = 2 if count >= DEGREE_2_FROM else 1 if count >= DEGREE_1_FROM else 0
        times = np.array([one.middle_s for one in legs])
        middle = (times[here].max() + times[here].min()) / 2.0
        half = max((times[here].max() - times[here].min()) / 2.0, 1.0)
        scaled = (times - middle) / half
        constants.append(course * here[:, None])
        powers += [course * (here * scaled**n)[:, None] for n in range(1, degree + 1)]
    return np.concatenate([*constants, *powers], axis=1), 2 * len(constants)


def _change(
    legs: list[Leg], doubles: list[DoubleRun], rows: FloatArray, solution: FloatArray
) -> float:
    """Return the widest range of the water along one line of courses, of all outings."""
    first = np.array([double.legs[0] for double in doubles])
    course = lines(np.array([[one.east_mps, one.north_mps] for one in legs]))
    widest = 0.0
    along = rows @ solution
    for n in first.tolist():
        same = [
            k
            for double in doubles
            for k in double.legs
            if legs[k].outing == legs[n].outing and abs(course[k] @ course[n]) > 0.99
        ]
        signed = [float(along[k] * np.sign(course[k] @ course[n])) for k in same]
        widest = max(widest, max(signed) - min(signed))
    return widest
