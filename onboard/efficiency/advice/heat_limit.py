"""A motor drive that cuts back for heat: it passes on less power than throttle and voltage explain.

What throttle and voltage explain. A drive puts the share of the battery's voltage V that the
throttle d sets on the motor, whose revs follow; a propeller's power goes with the cube of its revs
where the craft has settled to them. So P goes with (d V)^3, less the share of the winding's
resistance, which makes it a little flatter; and flatter still with a hotel load, or with a drive
whose throttle is a current (d^1.5) or a power (d). The cube is the most that an easing explains. An
opening is taken to explain nothing: then a drive of any kind gives at least as much as before.

The throttle is stated in whole per cent: at a low one, a step that does not show explains more than
the least drop that counts.

What else lowers the power at a throttle: a wind that drops or comes from astern. The propeller then
advances further each turn and takes less torque, but the craft gets faster, whereas one whose drive
cuts back gets slower. On another course the speed over ground says nothing, as the water carries
the craft differently: only minutes on a like course are compared.
"""

from collections import deque

from onboard.efficiency.alert_practice import (
    HEAT_COURSE_DEG,
    HEAT_EASED_FRACTION,
    HEAT_LIMIT_POWER_FRACTION,
    HEAT_LOOK_BACK_S,
    HEAT_THROTTLE_LEAST,
)
from onboard.efficiency.sources.minutes import EVERY_S, THROTTLE_STEP, Minute


class HeatLimit:
    """Compare each minute with those of the last ten to see whether the drive has cut back."""

    def __init__(self) -> None:
        self._before: deque[Minute | None] = deque(maxlen=HEAT_LOOK_BACK_S // EVERY_S)

    def limits(self, now: Minute | None) -> bool:
        """Fold in the next minute; return whether it shows less power than is explained."""
        before = [] if now is None else [was for was in self._before if was is not None]
        self._before.append(now)
        return now is not None and any(
            cut_back(was, now) for was in before if was.power_w > now.power_w
        )


def cut_back(was: Minute, now: Minute) -> bool:
    """Return whether the drive gives less now than throttle and voltage explain.

    Examples
    --------
    A quarter less power at the same throttle; and a fifth less at one eased by 4 %, which explains
    an eighth.

    >>> was = Minute(0.0, 800.0, 50.0, 2.0, 0.0, 0.5, float("nan"))
    >>> cut_back(was, Minute(120.0, 600.0, 50.3, 1.8, 0.0, 0.5, float("nan")))
    True
    >>> cut_back(was, Minute(120.0, 640.0, 50.1, 1.9, 0.0, 0.48, float("nan")))
    False
    """
    # An unknown throttle is NaN, and fails each comparison.
    held = was.throttle >= HEAT_THROTTLE_LEAST and now.throttle >= HEAT_THROTTLE_LEAST
    if not held or now.throttle < (1.0 - HEAT_EASED_FRACTION) * was.throttle:
        return False
    eased = now.throttle / was.throttle * now.volts_v / was.volts_v
    explained_w = was.power_w * min(eased, 1.0) ** 3
    dropped = max(HEAT_LIMIT_POWER_FRACTION, 3.0 * THROTTLE_STEP / now.throttle)
    return (
        now.power_w < (1.0 - dropped) * explained_w
        and now.speed_mps <= was.speed_mps
        and now.is_on_course_of(was, HEAT_COURSE_DEG)
    )
