"""The speed-power curve as shown, and the power expected on a course."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import Curve, SpeedKind
from onboard.dataclass import dataclass
from onboard.efficiency.common_practice import (
    CURVE_BLOCKS_LEAST,
    CURVE_SYSTEMATIC_SD,
    PLANNED_SLOWEST_MPS,
    WEATHER_SD_FRACTION,
)
from onboard.efficiency.curve.learner import Learner
from onboard.efficiency.curve.speed_power import KNOTS, Posterior
from onboard.efficiency.statistics.monotone_cubic import interpolate
from onboard.efficiency.statistics.shared_errors import GAIN, VOLTAGE, Z_95

STEP_MPS = 0.1

SPEEDS = 64
"""Speeds evaluated over the span learned, to tell the best from its neighbours."""


def curve(learner: Learner, errors: FloatArray) -> Curve | Unknown:
    """Return the curve of the present set-up.

    Parameters
    ----------
    learner
        With the last fit.
    errors
        Covariance of the shared errors, shape (5, 5): all powers share the sensors' gains.

    Notes
    -----
    Through water the band is for calm water on any course: wind and waves of the ride are in the
    powers, and are unknown. Over ground it is for the courses ridden, in the water as it was.
    """
    known = learner.posterior
    if known is None or known.blocks < CURVE_BLOCKS_LEAST:
        return Unknown(Reason.TOO_FEW_STRETCHES)
    gains = float(errors[np.ix_((GAIN, VOLTAGE), (GAIN, VOLTAGE))].sum())
    kind: SpeedKind = "over_ground"
    shown, of_all = learner.over_ground(), gains
    if shown is None:
        kind, shown = "through_water", known.through_any_water()
        of_all += WEATHER_SD_FRACTION**2
    low, high = shown.seen_mps
    first, last = np.ceil(low / STEP_MPS), np.floor(high / STEP_MPS)
    speed = np.round(np.arange(first, last + 1) * STEP_MPS, 1)
    if not len(speed):
        speed = np.array([(low + high) / 2])
    ln_power, _ = shown.ln_power_at(speed)
    reach = Z_95 * np.sqrt(shown.curve_variance(speed) + of_all)
    power, least, most = (np.exp(ln_power + part * reach).tolist() for part in (0, -1, 1))
    return Curve(tuple(speed.tolist()), tuple(power), tuple(least), tuple(most), kind)


class GroundPower:
    """Battery power for speeds over ground, with the set and drift on the course.

    Parameters
    ----------
    known
        Curve and water.
    """

    def __init__(self, known: Posterior) -> None:
        self._known = known

    def __call__(
        self, speed_mps: FloatArray, course_deg: float | None
    ) -> tuple[FloatArray, FloatArray, npt.NDArray[np.bool_], FloatArray]:
        """Return power, variance of ln P, whether seen, and sensitivity to the water.

        See `onboard.efficiency.advice.outlook.PowerAtSpeed`.
        """
        known = self._known
        if course_deg is None:
            through = speed_mps
            ln_power, slope = known.ln_power_at(through)
            # The water may set along any course.
            along = float(known.water_mps @ known.water_mps + np.trace(known.covariance[:2, :2]))
            variance = known.curve_variance(through) + along / 2 / (through * slope) ** 2
        else:
            course = np.radians(course_deg)
            velocity = speed_mps[:, None] * np.array([np.sin(course), np.cos(course)])
            off = velocity - known.water_mps
            through = np.hypot(off[:, 0], off[:, 1])
            ln_power, variance = known.at_velocity(velocity)
            _, slope = known.ln_power_at(through)
        low, high = known.seen_mps
        seen: npt.NDArray[np.bool_] = (through >= low) & (through <= high)
        return np.exp(ln_power), variance, seen, 1.0 / (np.maximum(through, 0.05) * slope) ** 2

    def speeds(self, count: int = 32) -> FloatArray:
        """Return speeds over ground to evaluate, shape (n,)."""
        low, high = self._known.seen_mps
        drift = float(np.hypot(*self._known.water_mps))
        return np.linspace(max(low - drift, PLANNED_SLOWEST_MPS), high + drift, count)


@dataclass(frozen=True)
class SpeedsOnCourses:
    """The learned speeds over ground on a mix of courses, rising.

    Parameters
    ----------
    speed_mps, power_w
        Shape (n,).
    log_covariance
        Of ln P, shape (n, n).
    """

    speed_mps: FloatArray
    power_w: FloatArray
    log_covariance: FloatArray


def speeds_on_courses(
    known: Posterior, courses: Sequence[tuple[float | None, float]], ridden_mps: float | None
) -> SpeedsOnCourses:
    """Return the battery power of the speeds learned, as a mean over courses.

    Parameters
    ----------
    known
        Curve and water.
    courses
        Over ground [deg], with their shares of the distance; None as a course: in still water.
    ridden_mps
        A speed over ground that is one of the rows, whether learned or not.
    """
    speeds = GroundPower(known).speeds(SPEEDS)
    if ridden_mps is not None:
        speeds = np.array(sorted({*speeds.tolist(), ridden_mps}))
    low, high = known.seen_mps
    inside = np.zeros(len(speeds))
    power, by_power = np.zeros(len(speeds)), np.zeros((len(speeds), len(known.covariance)))
    steep = np.zeros(len(speeds))
    for course_deg, share in courses:
        course = np.radians(course_deg or 0.0)
        velocity = speeds[:, None] * np.array([np.sin(course), np.cos(course)])
        if course_deg is None:
            velocity = velocity + known.water_mps
        through = np.hypot(*(velocity - known.water_mps).T)
        _, rows, slope = known.gradient_at(velocity)
        # Smooth: with straight lines between knots the best speed would always be at one of them.
        ln_power = interpolate(np.log(np.maximum(through, 1e-3)), known.ln_speed, KNOTS)
        part = share * np.exp(np.clip(ln_power, KNOTS[0], KNOTS[-1]))
        power += part
        by_power += part[:, None] * rows
        steep += part / slope
        inside += share * ((through >= low) & (through <= high))
    rows, steep = by_power / power[:, None], steep / power
    kept = inside > 0.5
    if ridden_mps is not None:
        kept |= speeds == ridden_mps
    covariance = rows @ known.covariance @ rows.T + CURVE_SYSTEMATIC_SD**2 * np.outer(steep, steep)
    return SpeedsOnCourses(speeds[kept], power[kept], covariance[np.ix_(kept, kept)])
