"""The way home: its distance and bearing, its cost, and when to turn back.

A water current that helped outward hinders homeward: the cost is that of the homeward course in the
same set and drift, as they and the wind change (`headwind`, `ways_home`). Turning back is advised
while home can still be reached with confidence at the surest speed. What that leaves over on a good
day is spent on the way home: the speed to hold is that of the power ridden so far, as long as it is
sure to suffice.
"""

import math

import numpy as np
import numpy.typing as npt

from onboard.contract.advice import WayHome
from onboard.contract.figure import Estimate, Number, Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.advice.common_practice import (
    CRAWL_POWER_FRACTION,
    CRAWL_SPEED_FRACTION,
    GIVES_OUT_S,
    STEEPEST,
    SURE_HOME_SD,
)
from onboard.efficiency.advice.headwind import Headwind, HeadwindTrend
from onboard.efficiency.advice.loaded_voltage import LoadedVoltage
from onboard.efficiency.advice.outlook import Outlook
from onboard.efficiency.advice.ways_home import WaysHome, ways_home
from onboard.efficiency.common_practice import (
    AT_HOME_M,
    LEAVING_MPS,
    TURN_BACK_OFF_FRACTION,
    TURN_BACK_REACTION_S,
)
from onboard.efficiency.curve.speed_power import KNOTS, Posterior
from onboard.efficiency.meters.geodesy import local_offset_m
from onboard.efficiency.sources.settled_seconds import SettledSeconds

SURE_SD = 1.644854
"""95 % quantile of the normal distribution (tables). The test is repeated: turning back is advised
the first time that confidence falls below it."""


class Home:
    """The home point (the launch point unless set) and the advice to turn back."""

    def __init__(self) -> None:
        self._point: tuple[float, float] | None = None
        self._here: tuple[float, float] | None = None
        self._set = False
        self._left = False
        self.turn_back = False
        # Time, distance and energy under way, until turning back was first advised.
        self._out_s = self._out_m = self._out_ws = 0.0
        self._trend = HeadwindTrend()
        self._wind = Headwind.unknown()
        self._least_w = 0.0
        self._voltage = LoadedVoltage()
        self._gives_out_s = math.inf

    def put(self, latitude_deg: float, longitude_deg: float) -> None:
        """Set the home point [deg]."""
        self._point, self._set = (latitude_deg, longitude_deg), True

    def fold(self, seconds: SettledSeconds) -> None:
        """Fold in seconds, in order: the launch point is where the craft first moved off."""
        self._trend.fold(seconds)
        self._voltage.fold(seconds)
        known = np.isfinite(seconds.latitude_deg) & np.isfinite(seconds.longitude_deg)
        if not known.any():
            return
        places = np.flatnonzero(known)
        if not (self._set or self._left):
            moving = np.flatnonzero(known & (seconds.distance_m > LEAVING_MPS))
            self._left = len(moving) > 0
            at = int((moving if self._left else places[-1:])[0])
            self._point = float(seconds.latitude_deg[at]), float(seconds.longitude_deg[at])
        under_way = (seconds.distance_m > LEAVING_MPS) & np.isfinite(seconds.power_w)
        if not self.turn_back:
            self._out_s += float(under_way.sum())
            self._out_m += float(seconds.distance_m[under_way].sum())
            self._out_ws += float(seconds.power_w[under_way].sum())
        last = int(places[-1])
        self._here = float(seconds.latitude_deg[last]), float(seconds.longitude_deg[last])

    def where(self) -> tuple[float, float] | None:
        """Return distance [m] and bearing [deg] of home; None while either is unknown."""
        if self._point is None or self._here is None:
            return None
        east, north = local_offset_m(*self._here, *self._point)
        return math.hypot(east, north), math.degrees(math.atan2(east, north)) % 360.0

    def evaluate(self, ahead: Outlook, leaving_mps: float) -> tuple[float, float]:
        """Evaluate whether to turn back; the advice has hysteresis.

        Parameters
        ----------
        ahead
            Outlook on the homeward course.
        leaving_mps
            Present speed away from home (negative: towards it).

        Returns
        -------
        tuple of float
            Energy to spare with 95 % confidence [Wh], negative when it is time to turn back; and
            power on the way home [W].
        """
        where = self.where()
        if where is None:
            return 0.0, 0.0
        further_m = TURN_BACK_REACTION_S * max(leaving_mps, 0.0)
        ways = ways_home(ahead, max(where[0] + further_m, 1.0), self._wind)
        best = self._surest(ways, ahead.seen)
        power_w = float(ways.power_w[best])
        spare = float(ways.margin_at(SURE_SD)[best]) - TURN_BACK_REACTION_S * power_w / 3600.0
        spare = min(spare, (self._gives_out_s - GIVES_OUT_S) * power_w / 3600.0)
        if where[0] < AT_HOME_M:
            self.turn_back = False
        elif spare < 0:
            self.turn_back = True
        elif spare > TURN_BACK_OFF_FRACTION * float(ways.needed_wh[best]):
            self.turn_back = False
        return spare, power_w

    def know(self, known: Posterior, cutoff_v: float) -> None:
        """Judge the minutes so far by a curve and the cut-off: water, wind, and the voltage."""
        self._gives_out_s = self._voltage.seconds_to_cutoff(cutoff_v)
        where = self.where()
        if where is not None:
            self._wind = self._trend.homeward(where[1], known)
        self._least_w = CRAWL_POWER_FRACTION * self._usual_w
        if self._usual_w > 0:
            # Below the slowest speed learned, the curve's powers are guesses.
            usual_mps = math.exp(float(np.interp(math.log(self._usual_w), KNOTS, known.ln_speed)))
            slowest = min(known.seen_mps[0] / usual_mps, 1.0)
            self._least_w = max(self._least_w, slowest**STEEPEST * self._usual_w)

    def _surest(self, ways: WaysHome, seen: npt.NDArray[np.bool_]) -> int:
        """Return the row with the largest sure margin."""
        surely = ways.margin_at(SURE_SD)
        # No crawl: the cheapest speeds are the least known, and leave the weather time to change.
        slow = ways.speed_mps < CRAWL_SPEED_FRACTION * self._usual_mps
        weak = ways.power_w < self._least_w
        for crawl in (slow | weak, weak):
            if not crawl.all():
                surely = np.where(crawl, -np.inf, surely)
                break
        # Untried speeds count only if no tried one suffices.
        tried = np.where(seen, surely, -np.inf)
        return int(np.argmax(tried if tried.max() > 0 else surely))

    def _to_hold(self, ways: WaysHome, seen: npt.NDArray[np.bool_]) -> int:
        """Return the row to hold: the power ridden so far, the highest sure one, or the surest."""
        sure = seen & (ways.power_w <= self._usual_w) & (ways.margin_at(SURE_HOME_SD) > 0.0)
        surest = self._surest(ways, seen)
        return max(int(np.flatnonzero(sure)[-1]), surest) if sure.any() else surest

    @property
    def _usual_w(self) -> float:
        """Mean power under way until turning back was first advised [W]."""
        return self._out_ws / self._out_s if self._out_s else 0.0

    @property
    def _usual_mps(self) -> float:
        """Mean speed under way until turning back was first advised [m/s]."""
        return self._out_m / self._out_s if self._out_s else 0.0

    def way(self, ahead: Outlook) -> WayHome | Unknown:
        """Return the way home in an outlook, with the advice as last evaluated."""
        where = self.where()
        if where is None:
            return Unknown(Reason.NO_POSITION)
        distance, bearing = where
        ways = ways_home(ahead, max(distance, 1.0), self._wind)
        best = self._to_hold(ways, ahead.seen)
        energy: Estimate = ways.needed(best)
        margin: Estimate = ways.margin(best)
        speed: Number = float(ways.speed_mps[best])
        if not ways.arrives[best]:
            energy = margin = speed = Unknown(Reason.NO_SPEED_ON_COURSE)
        return WayHome(distance, bearing, energy, margin, speed, self.turn_back)
