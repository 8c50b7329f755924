"""Advice to the rider: best speed, target speed with its cue, range, and the way home.

Advice is based on settled seconds, so that a replay gives the same advice as the ride. Stateful
advice is evaluated on schedule (`Adviser.evaluate`, see `schedule`), the rest on demand.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from onboard.block import FloatArray
from onboard.contract.advice import Cue, Stand, Standing, Target, WayHome
from onboard.contract.figure import Estimate, Number, Unknown, reaching_up_to, throughout
from onboard.contract.reasons import Reason
from onboard.efficiency.advice.home import Home
from onboard.efficiency.advice.outlook import Outlook, outlook
from onboard.efficiency.advice.speed_to_hold import Hold
from onboard.efficiency.advice.target import Aim
from onboard.efficiency.advice.target_speed import CueKeeper, advised_speed, chance_at
from onboard.efficiency.battery.pack import Pack
from onboard.efficiency.common_practice import COURSE_MEAN_S, COURSE_STEP_DEG, LEAVING_MEAN_S
from onboard.efficiency.curve.best_speed import best_speed_on_course
from onboard.efficiency.curve.power_curve import GroundPower
from onboard.efficiency.curve.speed_power import Posterior
from onboard.efficiency.meters.steadiness import COURSE_SLOWEST_MPS
from onboard.efficiency.sources.settled_seconds import SettledSeconds
from onboard.efficiency.sources.trailing import Trailing
from onboard.efficiency.statistics.shared_errors import interval


@dataclass(frozen=True)
class Advice:
    """All advice at one time."""

    range_target_m: Estimate
    range_best_m: Estimate
    best_speed_mps: Estimate
    target: Target | Unknown
    home: WayHome | Unknown


NO_AIM = Unknown(Reason.NO_TARGET)


class Adviser:
    """Keep the state that advice needs from one evaluation to the next."""

    def __init__(self) -> None:
        self.home = Home()
        self.aim = Aim()
        """The rider's target; changed by `set_aim`."""
        self._made_m = 0.0
        self._cue = CueKeeper()
        self._hold = Hold()
        names = ("east_mps", "north_mps", "distance_m", "power_w", "volts_v")
        self._trailing = Trailing(COURSE_MEAN_S, *names)
        self._means = dict.fromkeys(names, float("nan"))
        self._short = dict.fromkeys(names, float("nan"))
        self._best_for = (0, 0.0)
        self._best: Estimate = Unknown(Reason.TOO_LITTLE_DATA)
        self._advice: tuple[Posterior, Advice] | None = None
        """Advice cached since the last second, with the curve it is based on."""
        self._target_now: tuple[Target | Unknown, Number] | None = None

    def set_aim(self, aim: Aim) -> None:
        """Set the rider's target, from here on."""
        self.aim, self._made_m, self._cue = aim, 0.0, CueKeeper()
        self._hold.set_aim(aim)
        self._target_now = None
        self._advice = None

    def forget_curve(self) -> None:
        """Discard results of a curve that no longer applies."""
        self._best_for, self._best = (0, 0.0), Unknown(Reason.TOO_LITTLE_DATA)

    def fold(self, seconds: SettledSeconds) -> None:
        """Fold in settled seconds, in order."""
        if not len(seconds):
            return
        self._advice = None
        self.home.fold(seconds)
        self._made_m += float(np.nansum(seconds.distance_m))
        pasts = self._trailing.fold(seconds)
        for name, past in pasts.items():
            last = past[-1]
            self._means[name], self._short[name] = _mean(last), _mean(last[-LEAVING_MEAN_S:])
        self._hold.fold(pasts)

    def evaluate(self, pack: Pack | Unknown, known: Posterior | None) -> float:
        """Update the stateful advice: the cue for a distance, and whether to turn back.

        Returns
        -------
        float
            Predicted quiet time [s]: none of this advice can be due sooner.
        """
        self._advice = None
        if isinstance(pack, Unknown):
            self._target_now = None
            return math.inf
        if known is None:
            self._target_now = None
            return 0.0
        power = GroundPower(known)
        if self.aim.distance_m is not None:
            self._target_now = self._target(self._ahead(pack, power, self._course_deg()))
        where = self.home.where()
        if where is None:
            return 0.0
        self.home.know(known)
        ahead = self._ahead(pack, power, where[1])
        spare_wh, home_w = self.home.evaluate(ahead, self._leaving_mps(where[1]))
        if self.aim.distance_m is not None:
            return 0.0
        # The spare energy shrinks as energy is drawn and as the way home lengthens.
        now_w = self._means["power_w"]
        drawn_w = home_w + (max(now_w, home_w) if math.isfinite(now_w) else home_w)
        return spare_wh * 3600.0 / drawn_w

    def advice(self, pack: Pack | Unknown, known: Posterior | None) -> Advice:
        """Return the advice as of the seconds folded."""
        if isinstance(pack, Unknown):
            return self._hold_target_only(pack)
        if known is None:
            return self._hold_target_only(Unknown(Reason.NO_STEADY_STRETCH))
        if self._advice is None or self._advice[0] is not known:
            self._advice = known, self._advise(pack, known)
        return self._advice[1]

    def _hold_target_only(self, why: Unknown) -> Advice:
        advice = throughout(Advice)(why)
        return replace(advice, target=self._hold_target(None)) if self._hold.wanted else advice

    def _advise(self, pack: Pack, known: Posterior) -> Advice:
        power = GroundPower(known)
        # The best speed is sought among speeds seen; a target may lie beyond them.
        ahead = self._ahead(pack, power, self._course_deg())
        none = Unknown(Reason.TOO_LITTLE_DATA) if self.aim.is_set else NO_AIM
        target, speed = self._target_now or (none, none)
        if self._hold.wanted:
            target = self._hold_target(ahead)
            speed = NO_AIM if self.aim.speed_mps is None else self.aim.speed_mps
        reach = _range_at(ahead, speed), _furthest(ahead.of_speeds_seen())
        home = self._way_home(pack, power)
        if pack.if_charged is not None:
            # The lower figure counts; the interval extends to that of a pack charged unseen.
            full = self._ahead(pack.if_charged, power, self._course_deg())
            charged = _range_at(full, speed), _furthest(full.of_speeds_seen())
            reach = reaching_up_to(reach[0], charged[0]), reaching_up_to(reach[1], charged[1])
            home = _reaching_home(home, self._way_home(pack.if_charged, power))
        return Advice(
            range_target_m=reach[0],
            range_best_m=reach[1],
            best_speed_mps=self._best_speed(known),
            target=target,
            home=home,
        )

    def _ahead(self, pack: Pack, power: GroundPower, course_deg: float | None) -> Outlook:
        volts = self._means["volts_v"]
        volts = volts if math.isfinite(volts) else pack.cutoff_v
        speeds = power.speeds()
        return outlook(speeds, course_deg, power, pack.left, volts, pack.covariance)

    def _best_speed(self, known: Posterior) -> Estimate:
        """Return the best speed on the present course, recomputed as curve or course changes."""
        course = self._course_deg()
        if course is None:
            return Unknown(Reason.NO_COURSE)
        course = round(course / COURSE_STEP_DEG) * COURSE_STEP_DEG
        if self._best_for != (known.blocks, course):
            self._best_for = known.blocks, course
            self._best = best_speed_on_course(known, course)
        return self._best

    def _course_deg(self) -> float | None:
        """Return the course made good over the last minute; None while nearly at rest."""
        east, north = self._means["east_mps"], self._means["north_mps"]
        if not math.hypot(east, north) > COURSE_SLOWEST_MPS:
            return None
        return math.degrees(math.atan2(east, north)) % 360.0

    @property
    def target(self) -> Target | Unknown:
        """The target as of the last evaluation."""
        if self._hold.wanted:
            return self._hold_target(None)
        return NO_AIM if self._target_now is None else self._target_now[0]

    def _way_home(self, pack: Pack, power: GroundPower) -> WayHome | Unknown:
        where = self.home.where()
        if where is None:
            return Unknown(Reason.NO_POSITION)
        return self.home.way(self._ahead(pack, power, where[1]), self._leaving_mps(where[1]))

    def _leaving_mps(self, bearing_deg: float) -> float:
        """Return the recent speed away from home, which lies on this bearing."""
        bearing = math.radians(bearing_deg)
        east, north = self._short["east_mps"], self._short["north_mps"]
        leaving = -(east * math.sin(bearing) + north * math.cos(bearing))
        return leaving if math.isfinite(leaving) else 0.0

    def _target(self, here: Outlook) -> tuple[Target | Unknown, Number]:
        """Return the target and the speed to hold for it."""
        aim = self.aim
        speed = self._short["distance_m"]
        if aim.distance_m is None:
            return NO_AIM, NO_AIM
        to_go = aim.distance_m - self._made_m
        if to_go <= 0:
            done = Unknown(Reason.DISTANCE_MADE)
            none = Target(done, done, 0.0, done, done, done, done, Stand(Standing.DISTANCE_MADE))
            return none, done
        advised = advised_speed(here, to_go)
        made = advised.speed_mps
        hold = advised.best_speed_mps if isinstance(made, Unknown) else made
        difference, cue = self._difference_and_cue(speed, hold)
        reason = _standing(Standing.AGAINST_ADVISED, difference)
        if isinstance(made, Unknown):
            best = {"best_m": advised.best_m, "best_speed_mps": advised.best_speed_mps}
            reason = Stand(Standing.CANNOT_BE_MADE, **best)
        chance: Number = Unknown(Reason.AT_REST)
        if speed > 0:
            chance = chance_at(here, to_go, speed)
        target = Target(
            speed_mps=hold,
            power_w=NO_AIM,
            distance_m=to_go,
            wh_per_km=_cost(here, hold),
            difference_fraction=difference,
            cue=cue,
            confidence_fraction=chance,
            reason=reason,
        )
        return target, hold

    def _hold_target(self, here: Outlook | None) -> Target:
        """Return the target to hold a speed or a power; its cost where a curve is known."""
        aim, difference = self.aim, self._hold.difference_fraction
        none = Unknown(Reason.NO_DISTANCE_TARGET)
        cost: Number = none
        if aim.speed_mps is not None:
            no_curve = Unknown(Reason.NO_CURVE)
            cost = no_curve if here is None else _cost(here, aim.speed_mps)
        against = Standing.AGAINST_SPEED if aim.power_w is None else Standing.AGAINST_POWER
        return Target(
            speed_mps=NO_AIM if aim.speed_mps is None else aim.speed_mps,
            power_w=NO_AIM if aim.power_w is None else aim.power_w,
            distance_m=none,
            wh_per_km=cost,
            difference_fraction=difference,
            cue=self._hold.cue,
            confidence_fraction=none,
            reason=_standing(against, difference),
        )

    def _difference_and_cue(self, now: float, wanted: float) -> tuple[Number, Cue | Unknown]:
        if not math.isfinite(now):
            unknown = Unknown(Reason.NOT_KNOWN_LATELY)
            return unknown, unknown
        difference = now / wanted - 1.0
        return difference, self._cue.fold(difference)


def _mean(values: FloatArray) -> float:
    known = values[np.isfinite(values)]
    return float(known.mean()) if len(known) * 2 >= len(values) else float("nan")


def _standing(against: Standing, difference: Number) -> Stand:
    if isinstance(difference, Unknown):
        return Stand(Standing.NO_CUE)
    return Stand(against, difference_fraction=difference)


def _cost(ahead: Outlook, speed_mps: float) -> float:
    return float(np.interp(speed_mps, ahead.speed_mps, ahead.power_w)) / speed_mps / 3.6


def _range_at(ahead: Outlook, speed_mps: Number) -> Estimate:
    if isinstance(speed_mps, Unknown):
        return speed_mps
    if not ahead.speed_mps[0] <= speed_mps <= ahead.speed_mps[-1]:
        return Unknown(Reason.NOT_LEARNED_THERE)
    value = float(np.interp(speed_mps, ahead.speed_mps, ahead.range_m))
    variance = float(np.interp(speed_mps, ahead.speed_mps, ahead.range_variance_m2()))
    return interval(value, math.sqrt(variance), 0.0)


def _furthest(ahead: Outlook) -> Estimate:
    """Return the range at the best of the speeds seen [m]."""
    if not ahead.seen.any():
        return Unknown(Reason.NO_SPEED_ON_COURSE)
    best = int(np.argmax(ahead.range_m))
    sd_m = math.sqrt(float(ahead.range_variance_m2()[best]))
    return interval(float(ahead.range_m[best]), sd_m, 0.0)


def _reaching_home(lower: WayHome | Unknown, upper: WayHome | Unknown) -> WayHome | Unknown:
    if isinstance(lower, Unknown) or isinstance(upper, Unknown):
        return lower
    return replace(lower, margin_wh=reaching_up_to(lower.margin_wh, upper.margin_wh))
