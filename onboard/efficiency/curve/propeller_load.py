"""Weed on the propeller: it takes more power at its revs than a few minutes ago.

At a given advance per turn a propeller's power goes with the cube of its revs n, whatever the rider
does and whatever the drive holds. So P / n^3 shows a fouled propeller at once, whether power rises
at the speed, speed falls at the power, or both. A headwind only brakes: the propeller then advances
less each turn, and its torque coefficient rises, in the B-series by up to about the same share
(`SLIP`). So

    excess = d ln P - 3 d ln n - SLIP max(d ln n - d ln v, 0).

The speed v is over ground, so only minutes on a like course are compared.

Where no revs are reported, throttle times voltage stands in for them: right for a drive whose
throttle is a duty. For the sake of other kinds the power must then not have fallen, and the
throttle hardly have been opened: no drive takes as much power as before at less throttle.
"""

import math
from collections import deque

from onboard.efficiency.alert_practice import (
    LOAD_COURSE_DEG,
    LOAD_EASED_MOST,
    LOAD_EXCESS_FRACTION,
    LOAD_FELL_MOST,
    LOAD_LASTS_S,
    LOAD_LOOK_BACK_S,
    LOAD_OPENED_MOST,
    LOAD_REVS_MOST,
)
from onboard.efficiency.sources.minutes import MINUTE_S, PIECE_S, THROTTLE_STEP, Minute

SLIP = 1.0
"""Relative rise of the torque coefficient for a relative fall of the advance per turn."""

CANNOT_TELL = -math.inf

EXCESS_LEAST = math.log1p(LOAD_EXCESS_FRACTION)


class PropellerLoad:
    """Compare each minute with those before: does the propeller take more power at its revs?"""

    def __init__(self) -> None:
        self.fouled = False
        self.excess_fraction = 0.0
        """Power beyond that of the clean propeller at the same revs, relative, when last fouled."""
        self._before: deque[Minute | None] = deque(maxlen=LOAD_LOOK_BACK_S // PIECE_S)
        self._clean: Minute | None = None
        """What the present excess is measured against."""
        self._since_s = 0.0

    def fold(self, now: Minute | None) -> None:
        """Fold in the next minute."""
        if self.fouled:
            self._judge_again(now)
            return
        # The newest of them shares its half with this one.
        before = list(self._before)[: 1 - MINUTE_S // PIECE_S]
        self._before.append(now)
        doubted, self._clean = self._clean is not None, None
        if now is None:
            return
        for was in before:
            if was is not None and (excess := load_excess(was, now)) > EXCESS_LEAST:
                # Twice in a row: a gust or a wake is over sooner.
                self.fouled, self._clean, self._since_s = doubted, was, now.t_s
                self.excess_fraction = math.expm1(excess)
                return

    def _judge_again(self, now: Minute | None) -> None:
        """End it once the excess has halved, or after so long that the craft has changed."""
        if now is None or self._clean is None:
            return
        excess = load_excess(self._clean, now, any_course=True)
        lasts = now.t_s - self._since_s < LOAD_LASTS_S
        if lasts and excess > EXCESS_LEAST / 2:
            self.excess_fraction = math.expm1(excess)
        elif not lasts or excess != CANNOT_TELL:
            self.fouled, self._clean = False, None
            self._before.clear()


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
    volts = math.log(now.volts_v / was.volts_v)
    hand = volts + math.log(now.throttle / was.throttle)
    if power < -LOAD_FELL_MOST or not -LOAD_EASED_MOST < hand < LOAD_OPENED_MOST:
        return math.nan
    # It may have been opened by a step without showing it.
    half = THROTTLE_STEP / 2
    return volts + math.log((now.throttle + half) / (was.throttle - half))
