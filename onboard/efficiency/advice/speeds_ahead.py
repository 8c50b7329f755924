"""The range of every speed on the courses ridden now: one prediction for all advice.

Range now, best range, target, chance and cue are read off these rows, so they cannot contradict
each other. The row of the present riding is measured (`riding.present_riding`). The others are the
learned curve, averaged over the courses ridden now, given that measurement (a normal distribution
conditioned on one of its components, as in Gaussian-process regression). With K the covariance of
ln P (that of the curve, and the day's weather, which all speeds share) and z the measured ln P,

    mean      curve(v) + K(v, now) / K(now, now) (z - curve(now)),
    variance  K(v, v) - K(v, now)^2 / K(now, now).

So a speed near the present one follows what is measured, and so do all if the curve is off as a
whole; a speed that was learned well follows the curve if the present one was not. While nothing is
ridden, the curve alone counts.
"""

import math

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray
from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.dataclass import dataclass
from onboard.efficiency.advice.reach import J_PER_WH, Reach, reach, riding_range
from onboard.efficiency.battery.pack import Pack
from onboard.efficiency.common_practice import WEATHER_SD_FRACTION
from onboard.efficiency.curve.power_curve import speeds_on_courses
from onboard.efficiency.curve.speed_power import Posterior
from onboard.efficiency.riding.present_riding import Riding
from onboard.efficiency.statistics.shared_errors import Z_95

KNOWN_SD = 0.35
"""Standard deviation of ln P, given what is measured, up to which a speed's power is known."""


@dataclass(frozen=True)
class SpeedsAhead:
    """One row a speed: those learned, and the present one, rising.

    Parameters
    ----------
    speed_mps
        Speed over ground, shape (n,).
    power_w
        Battery power at each [W], shape (n,).
    ranges
        Their ranges [m].
    log_covariance
        Covariance of the logarithms of the curve's powers, shape (n, n).
    now
        Row of the present riding; None while nothing is ridden.
    """

    speed_mps: FloatArray
    power_w: FloatArray
    ranges: Reach
    log_covariance: FloatArray
    now: int | None

    @property
    def best(self) -> int:
        """Row with the longest range."""
        return int(np.argmax(self.ranges.middle))

    def best_range(self) -> Figure:
        """Return the longest range [m]; its lower bound is the highest of any speed's."""
        found = self.ranges.figure(self.best)
        surely = float(self.ranges.at(-Z_95).max())
        return Figure(found.value, min(surely, found.value), found.high)

    def best_speed(self) -> Figure:
        """Return the speed of the longest range [m/s], with all that may go as far as interval."""
        # Of the difference of ln P from that at the best speed.
        best, covariance = self.best, self.log_covariance
        variance = np.diag(covariance) + covariance[best, best] - 2.0 * covariance[best]
        metres = np.maximum(self.ranges.middle, 1e-9)
        behind = np.log(metres / metres[best])
        as_far = self.speed_mps[behind >= -Z_95 * np.sqrt(np.maximum(variance, 0.0))]
        return Figure(float(self.speed_mps[best]), float(as_far[0]), float(as_far[-1]))

    def only(self, kept: npt.NDArray[np.bool_]) -> "SpeedsAhead":
        """Return some of the rows, the present one among them."""
        ranges = Reach(
            self.ranges.middle[kept], self.ranges.linear_sd[kept], self.ranges.cost_sd[kept]
        )
        now = None if self.now is None else int(kept[: self.now].sum())
        covariance = self.log_covariance[np.ix_(kept, kept)]
        return SpeedsAhead(self.speed_mps[kept], self.power_w[kept], ranges, covariance, now)

    def at_speed(self, speed_mps: float) -> Figure | Unknown:
        """Return the range at a speed over ground [m]; unknown outside the rows."""
        if not self.speed_mps[0] <= speed_mps <= self.speed_mps[-1]:
            return Unknown(Reason.NOT_LEARNED_THERE)
        rows = (self.ranges.middle, self.ranges.linear_sd, self.ranges.cost_sd)
        here = (np.array([np.interp(speed_mps, self.speed_mps, row)]) for row in rows)
        return Reach(*here).figure()

    def wh_per_km(self, speed_mps: float) -> float:
        """Return the consumption at a speed over ground [Wh/km]."""
        return float(np.interp(speed_mps, self.speed_mps, self.power_w)) / speed_mps / 3.6


def speeds_ahead(
    pack: Pack, riding: Riding | Unknown, known: Posterior | None, course_deg: float | None
) -> SpeedsAhead | Unknown:
    """Return the range of each speed.

    Parameters
    ----------
    pack
        The battery.
    riding
        The present riding.
    known
        Curve and water; None before the first steady stretch.
    course_deg
        Course over ground [deg], used while the riding's own are unknown; None if unknown too.

    Returns
    -------
    SpeedsAhead or Unknown
        Unknown with neither riding nor curve, or if no learned speed is possible on the course.
    """
    if isinstance(riding, Unknown):
        return riding if known is None else _by_curve(pack, known, course_deg)
    if known is None:
        speed, power = np.array([riding.speed_mps]), np.array([riding.power_w])
        ranges = riding_range(pack, riding, speed, power)
        return SpeedsAhead(speed, power, ranges, np.zeros((1, 1)), 0)
    courses = riding.courses or ((course_deg, 1.0),)
    curve = speeds_on_courses(known, courses, riding.speed_mps)
    now = int(np.searchsorted(curve.speed_mps, riding.speed_mps))
    covariance = curve.log_covariance + WEATHER_SD_FRACTION**2
    share = covariance[now] / covariance[now, now]
    measured = math.log(max(riding.power_w, 1e-3) / curve.power_w[now])
    power = curve.power_w * np.exp(share * measured)
    given = np.maximum(np.diag(covariance) - share * covariance[now], 0.0)
    ranges = riding_range(pack, riding, curve.speed_mps, power, given, share)
    # What is known to a factor only is no speed to advise.
    kept = given < KNOWN_SD**2
    ahead = SpeedsAhead(curve.speed_mps, power, ranges, covariance, now)
    return ahead.only(kept)


def _by_curve(pack: Pack, known: Posterior, course_deg: float | None) -> SpeedsAhead | Unknown:
    """Return the rows of the curve alone."""
    curve = speeds_on_courses(known, ((course_deg, 1.0),), None)
    if not len(curve.speed_mps):
        return Unknown(Reason.NO_SPEED_ON_COURSE)
    variance = np.diag(curve.log_covariance) + WEATHER_SD_FRACTION**2
    per_wh = curve.speed_mps / curve.power_w * J_PER_WH
    ranges = reach(pack, curve.power_w, pack.cutoff_v, variance, per_wh)
    return SpeedsAhead(curve.speed_mps, curve.power_w, ranges, curve.log_covariance, None)
