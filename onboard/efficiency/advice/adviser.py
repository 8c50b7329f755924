"""Advice to the rider: best speed, target speed with its cue, range, and the way home.

Advice is made from settled seconds, so a replay gives the same advice as the ride. What has state
(cues with hysteresis, turning back) is evaluated on schedule (`Adviser.evaluate`, see `schedule`),
the rest on demand.
"""

import math
from dataclasses import replace

import numpy as np

from onboard.block import FloatArray
from onboard.contract.advice import Target, WayHome
from onboard.contract.figure import Estimate, Number, Unknown, reaching_up_to, throughout, within
from onboard.contract.reasons import Reason
from onboard.dataclass import dataclass
from onboard.efficiency.advice.distance_target import NO_AIM, DistanceTarget
from onboard.efficiency.advice.home import Home
from onboard.efficiency.advice.outlook import Outlook, outlook
from onboard.efficiency.advice.speed_to_hold import Hold
from onboard.efficiency.advice.speeds_ahead import SpeedsAhead, speeds_ahead
from onboard.efficiency.advice.target import Aim
from onboard.efficiency.battery.pack import Pack
from onboard.efficiency.common_practice import COURSE_MEAN_S, LEAVING_MEAN_S, NOW_MEAN_S
from onboard.efficiency.curve.power_curve import GroundPower
from onboard.efficiency.curve.speed_power import Posterior
from onboard.efficiency.meters.steadiness import COURSE_SLOWEST_MPS, MOVING_MPS
from onboard.efficiency.riding.present_riding import Riding
from onboard.efficiency.sources.settled_seconds import SettledSeconds
from onboard.efficiency.sources.trailing import Trailing


@dataclass(frozen=True)
class Advice:
    """All advice at one time."""

    range_target_m: Estimate
    range_best_m: Estimate
    best_speed_mps: Estimate
    target: Target | Unknown
    home: WayHome | Unknown


class Adviser:
    """Keep the state that advice needs from one evaluation to the next."""

    def __init__(self) -> None:
        self.home = Home()
        self.aim = Aim()
        """The rider's target; changed by `set_aim`."""
        self._distance: DistanceTarget | None = None
        self._hold = Hold()
        names = ("east_mps", "north_mps", "distance_m", "power_w", "volts_v")
        self._trailing = Trailing(COURSE_MEAN_S, *names)
        self._means = dict.fromkeys(names, float("nan"))
        self._short = dict.fromkeys(names, float("nan"))
        self._now_mps = float("nan")
        self._advice: tuple[Posterior | None, Riding | Unknown, Advice] | None = None
        """Advice cached since the last second, with the curve and riding it is based on."""

    def set_aim(self, aim: Aim) -> None:
        """Set the rider's target, from here on."""
        self.aim = aim
        self._distance = None if aim.distance_m is None else DistanceTarget(aim.distance_m)
        self._hold.set_aim(aim)
        self._advice = None

    def fold(self, seconds: SettledSeconds) -> None:
        """Fold in settled seconds, in order."""
        if not len(seconds):
            return
        self._advice = None
        self.home.fold(seconds)
        if self._distance is not None:
            self._distance.fold(seconds.distance_m)
        pasts = self._trailing.fold(seconds)
        for name, past in pasts.items():
            last = past[-1]
            self._means[name], self._short[name] = _mean(last), _mean(last[-LEAVING_MEAN_S:])
        self._now_mps = _mean(pasts["distance_m"][-1, -NOW_MEAN_S:])
        self._hold.fold(pasts)

    def evaluate(
        self, pack: Pack | Unknown, known: Posterior | None, riding: Riding | Unknown
    ) -> float:
        """Update the stateful advice: the cue for a distance, and whether to turn back.

        Returns
        -------
        float
            Quiet time [s]: none of this advice can become due sooner.
        """
        self._advice = None
        if self._distance is not None:
            self._distance.evaluate(self._speeds(pack, known, riding), self._present_mps())
        if isinstance(pack, Unknown):
            return math.inf
        where = self.home.where()
        if known is None or where is None:
            return 0.0
        self.home.know(known, pack.cutoff_v)
        ahead = self._homeward(pack, GroundPower(known), where[1])
        spare_wh, home_w = self.home.evaluate(ahead, self._leaving_mps(where[1]))
        if self.aim.distance_m is not None:
            return 0.0
        # The spare energy shrinks as energy is drawn and as the way home lengthens.
        now_w = self._means["power_w"]
        drawn_w = home_w + (max(now_w, home_w) if math.isfinite(now_w) else home_w)
        return spare_wh * 3600.0 / drawn_w

    def advice(
        self, pack: Pack | Unknown, known: Posterior | None, riding: Riding | Unknown
    ) -> Advice:
        """Return the advice as of the seconds folded."""
        if isinstance(pack, Unknown):
            none = throughout(Advice)(pack)
            return replace(none, target=self._target(pack)) if self._hold.wanted else none
        if self._advice is None or self._advice[0] is not known or self._advice[1] is not riding:
            self._advice = known, riding, self._advise(pack, known, riding)
        return self._advice[2]

    def _advise(self, pack: Pack, known: Posterior | None, riding: Riding | Unknown) -> Advice:
        ahead = self._speeds(pack, known, riding)
        target = self._target(ahead)
        at_aim, best, best_speed = _ranges(ahead, target, known)
        home = self._way_home(pack, known)
        if pack.if_charged is not None:
            # The lower figure counts; the interval extends to that of a pack charged unseen.
            full = _ranges(self._speeds(pack.if_charged, known, riding), target, known)
            at_aim, best = reaching_up_to(at_aim, full[0]), reaching_up_to(best, full[1])
            home = _reaching_home(home, self._way_home(pack.if_charged, known))
        return Advice(at_aim, best, best_speed, target, home)

    def _speeds(
        self, pack: Pack | Unknown, known: Posterior | None, riding: Riding | Unknown
    ) -> SpeedsAhead | Unknown:
        if isinstance(pack, Unknown):
            return pack
        return speeds_ahead(pack, riding, known, self._course_deg())

    def _homeward(self, pack: Pack, power: GroundPower, course_deg: float) -> Outlook:
        volts = self._means["volts_v"]
        volts = volts if math.isfinite(volts) else pack.cutoff_v
        speeds = power.speeds()
        return outlook(speeds, course_deg, power, pack.left, volts, pack.covariance)

    def _course_deg(self) -> float | None:
        """Return the course made good over the last minute; None while nearly at rest."""
        east, north = self._means["east_mps"], self._means["north_mps"]
        if not math.hypot(east, north) > COURSE_SLOWEST_MPS:
            return None
        return math.degrees(math.atan2(east, north)) % 360.0

    @property
    def target(self) -> Target | Unknown:
        """The target as of the last evaluation."""
        if self._distance is not None:
            return self._distance.target
        return self._hold.target(Unknown(Reason.NO_CURVE)) if self._hold.wanted else NO_AIM

    def _way_home(self, pack: Pack, known: Posterior | None) -> WayHome | Unknown:
        if known is None:
            return Unknown(Reason.NO_STEADY_STRETCH)
        where = self.home.where()
        if where is None:
            return Unknown(Reason.NO_POSITION)
        self.home.know(known, pack.cutoff_v)
        ahead = self._homeward(pack, GroundPower(known), where[1])
        return self.home.way(ahead)

    def _leaving_mps(self, bearing_deg: float) -> float:
        """Return the recent speed away from home, which lies on this bearing."""
        bearing = math.radians(bearing_deg)
        east, north = self._short["east_mps"], self._short["north_mps"]
        leaving = -(east * math.sin(bearing) + north * math.cos(bearing))
        return leaving if math.isfinite(leaving) else 0.0

    def _target(self, ahead: SpeedsAhead | Unknown) -> Target | Unknown:
        """Return how the ride compares with the target."""
        if self._distance is not None:
            return self._distance.state(ahead, self._present_mps())
        return self._hold.target(ahead) if self._hold.wanted else NO_AIM

    def _present_mps(self) -> Number:
        """Return the speed over ground of the last seconds; unknown at rest."""
        if not math.isfinite(self._now_mps):
            return Unknown(Reason.NOT_KNOWN_LATELY)
        if self._now_mps < MOVING_MPS:
            return Unknown(Reason.AT_REST)
        speed = self._short["distance_m"]
        return speed if math.isfinite(speed) else self._now_mps


def _mean(values: FloatArray) -> float:
    """Return the mean; NaN unless at least half of the values are known."""
    known = values[np.isfinite(values)]
    return float(known.mean()) if len(known) * 2 >= len(values) else float("nan")


def _ranges(
    ahead: SpeedsAhead | Unknown, target: Target | Unknown, known: Posterior | None
) -> tuple[Estimate, Estimate, Estimate]:
    """Return the range at the target's speed, the best range, and its speed."""
    wanted = within(target, lambda one: one.speed_mps)
    if isinstance(ahead, Unknown):
        return (wanted if isinstance(wanted, Unknown) else ahead), ahead, ahead
    at_target = wanted if isinstance(wanted, Unknown) else ahead.at_speed(wanted)
    if known is None:
        none = Unknown(Reason.NO_STEADY_STRETCH)
        return at_target, none, none
    return at_target, ahead.best_range(), ahead.best_speed()


def _reaching_home(lower: WayHome | Unknown, upper: WayHome | Unknown) -> WayHome | Unknown:
    """Return the way home with a margin that reaches up to that of a fuller pack."""
    if isinstance(lower, Unknown) or isinstance(upper, Unknown):
        return lower
    return replace(lower, margin_wh=reaching_up_to(lower.margin_wh, upper.margin_wh))
