"""Weed on the propeller: it takes more power at its revs than a few minutes ago.

At a given advance per turn a propeller's power goes with the cube of its revs n, whatever the rider
does and whatever the drive holds. So P / n^3 shows a fouled propeller at once, whether power rises
at the speed, speed falls at the power, or both. A headwind only brakes: the propeller then advances
less each turn, and its torque coefficient rises, in the B-series by up to about the same share
(`SLIP`). So

    excess = d ln P - 3 d ln n - SLIP max(d ln n - d ln v, 0).

The speed v is over ground, so only minutes on a like course are compared.

Where no revs are reported, throttle times voltage stands in for them: right for a drive whose
throttle is a duty. For the sake of other kinds the power must then not have fallen, the throttle
hardly have been opened (no drive takes as much power as before at less throttle), and a sag of the
pack lowers no revs: it does not where the throttle is a current or a power.
"""

import math
from collections import deque

from onboard.efficiency.alert_practice import (
    LOAD_COURSE_DEG,
    LOAD_EASED_MOST,
    LOAD_EXCESS_FRACTION,
    LOAD_FELL_MOST,
    LOAD_HOLDS_S,
    LOAD_LASTS_S,
    LOAD_LOOK_BACK_S,
    LOAD_OPENED_MOST,
    LOAD_REVS_MOST,
)
from onboard.efficiency.sources.minutes import EVERY_S, MINUTE_S, THROTTLE_STEP, Minute

SLIP = 1.0
"""Relative rise of the torque coefficient for a relative fall of the advance per turn."""

CANNOT_TELL = -math.inf

EXCESS_LEAST = math.log1p(LOAD_EXCESS_FRACTION)


class PropellerLoad:
    """Compare each minute with those before: the power that the propeller takes at its revs."""

    def __init__(self) -> None:
        self.excess_fraction = 0.0
        """Power beyond that of the clean propeller at the same revs, relative, when last fouled."""
        self._before: deque[Minute | None] = deque(maxlen=LOAD_LOOK_BACK_S // EVERY_S)
        self._since_s = math.nan
        """Since when the load is too large [s]; NaN if it is not."""
        self._clean: Minute | None = None
        """A minute before the propeller was fouled; None if it is not."""

    @property
    def fouled(self) -> bool:
        """Whether the propeller is fouled."""
        return self._clean is not None

    def fold(self, now: Minute | None) -> None:
        """Fold in the next minute."""
        if self._clean is not None:
            if now is not None:
                self._judge_again(self._clean, now)
            return
        # The newest of them share a part with this one.
        before = list(self._before)[: 1 - MINUTE_S // EVERY_S]
        self._before.append(now)
        clean = None if now is None else _lighter(before, now)
        if now is None or clean is None:
            self._since_s = math.nan
            return
        if math.isnan(self._since_s):
            self._since_s = now.t_s
        if now.t_s - self._since_s >= LOAD_HOLDS_S:
            self._clean, self.excess_fraction = clean, math.expm1(load_excess(clean, now))

    def _judge_again(self, clean: Minute, now: Minute) -> None:
        """End it once the excess has halved, or after so long that the craft has changed."""
        excess = load_excess(clean, now, any_course=True)
        lasts = now.t_s - self._since_s < LOAD_LASTS_S
        if lasts and excess > EXCESS_LEAST / 2:
            self.excess_fraction = math.expm1(excess)
        elif not lasts or excess != CANNOT_TELL:
            self._clean, self._since_s = None, math.nan
            self._before.clear()


def _lighter(before: list[Minute | None], now: Minute) -> Minute | None:
    """Return a minute at which the propeller took much less power at its revs; None without."""
    least = _ln_load(now) - EXCESS_LEAST
    for was in before:
        # Slip only lowers the excess: where both report revs, most need no second look.
        if was is None or _ln_load(was) >= least:
            continue
        if load_excess(was, now) > EXCESS_LEAST:
            return was
    return None


def _ln_load(minute: Minute) -> float:
    """Return ln of the power over the cube of the revs; NaN where either is unknown."""
    if not (minute.revs > 0 and minute.power_w > 0):
        return math.nan
    return math.log(minute.power_w) - 3.0 * math.log(minute.revs)


def load_excess(was: Minute, now: Minute, *, any_course: bool = False) -> float:
    """Return ln of the power over that at the same revs and advance before, or `CANNOT_TELL`.

    Parameters
    ----------
    was, now
        A minute before, and the present one.
    any_course
        Compare other courses too, and leave out the slip: speeds over ground say nothing then.

    Examples
    --------
    At the same power the revs fall by 8 % and the speed by 6 %: 28 % more power at the revs.

    >>> was = Minute(0.0, 500.0, 50.0, 2.0, 0.0, math.nan, 1000.0)
    >>> now = Minute(120.0, 500.0, 50.0, 1.88, 0.0, math.nan, 920.0)
    >>> round(math.expm1(load_excess(was, now)), 2)
    0.28
    """
    power = math.log(now.power_w / was.power_w) if min(now.power_w, was.power_w) > 0 else math.nan
    revs = _revs(was, now, power)
    if not math.isfinite(power + revs):
        return CANNOT_TELL
    if any_course:
        return power - 3.0 * revs
    if now.speed_mps > was.speed_mps or not now.is_on_course_of(was, LOAD_COURSE_DEG):
        return CANNOT_TELL
    slip = max(revs - math.log(now.speed_mps / was.speed_mps), 0.0)
    return power - 3.0 * revs - SLIP * slip


def _revs(was: Minute, now: Minute, power: float) -> float:
    """Return the change of ln of the revs, or what stands in for them; NaN where neither tells."""
    if now.revs > 0 and was.revs > 0:
        revs = math.log(now.revs / was.revs)
        return revs if abs(revs) < LOAD_REVS_MOST else math.nan
    if not (now.throttle > THROTTLE_STEP and was.throttle > THROTTLE_STEP):
        return math.nan
    volts = max(math.log(now.volts_v / was.volts_v), 0.0)
    hand = volts + math.log(now.throttle / was.throttle)
    if power < -LOAD_FELL_MOST or not -LOAD_EASED_MOST < hand < LOAD_OPENED_MOST:
        return math.nan
    # It may have been opened by a step without showing it.
    half = THROTTLE_STEP / 2
    return volts + math.log((now.throttle + half) / (was.throttle - half))
