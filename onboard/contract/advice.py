"""What the rider is advised to do, about the target and the way home."""

from typing import Literal

from onboard.contract.codes import Code, Statement
from onboard.contract.figure import Estimate, Number, Unknown
from onboard.dataclass import dataclass

Cue = Literal["ease", "hold", "push"]


class Standing(Code):
    """What the cue rests on."""

    AGAINST_SPEED = "against_speed", "{difference_fraction} from the target speed."
    AGAINST_POWER = "against_power", "{difference_fraction} from the target power."
    AGAINST_ADVISED = (
        "against_advised",
        "{difference_fraction} from the speed that makes the distance.",
    )
    AGAINST_CONSUMPTION = "against_consumption", "{difference_fraction} from what is allowed."
    CANNOT_BE_MADE = (
        "cannot_be_made",
        "Target, {to_go_m} to go: in doubt at any speed tried. {best_m} is sure, at "
        "{best_speed_mps}.",
    )
    NO_CUE = "no_cue", "No cue."
    NOTHING_LEFT = "nothing_left", "Nothing is left above the reserve."
    DISTANCE_MADE = "distance_made", "The distance is made."
    NEWER = "newer", "A standing that this viewer is too old to explain: {name}."


class Stand(Statement[Standing]):
    """How the ride compares with the target, as a statement."""

    __slots__ = ()


@dataclass(frozen=True)
class Target:
    """How the ride compares with the target.

    Parameters
    ----------
    speed_mps
        The speed over ground to hold.
    power_w
        The battery power to hold.
    distance_m
        Distance left to go.
    wh_per_km
        Consumption at the speed to hold.
    difference_fraction
        How far the last seconds were above the target; negative below it.
    cue
        Whether to ease, hold or push.
    confidence_fraction
        The chance that the distance is made at the present speed, with the reserve kept.
    reason
        What the cue rests on.
    """

    speed_mps: Number
    power_w: Number
    distance_m: Number
    wh_per_km: Number
    difference_fraction: Number
    cue: Cue | Unknown
    confidence_fraction: Number
    reason: Stand


@dataclass(frozen=True)
class WayHome:
    """The way home: what it takes and what that leaves.

    Parameters
    ----------
    distance_m, bearing_deg
        Along a straight line to the home point.
    energy_wh
        What the way takes at `speed_mps`, while water and wind change as they did.
    margin_wh
        What is left above the reserve on arrival.
    speed_mps
        The speed over ground to hold: that of the power ridden so far or, if that is not sure to
        suffice, the highest one that is; failing that, the one most likely to get the craft home.
    turn_back
        Whether to turn back now.
    """

    distance_m: float
    bearing_deg: float
    energy_wh: Estimate
    margin_wh: Estimate
    speed_mps: Number
    turn_back: bool | Unknown
