"""The rider's target: what was asked for, and how the rider stands to it."""

from dataclasses import dataclass
from typing import Literal

from onboard.efficiency.figure import Number, Unknown

Cue = Literal["ease", "hold", "push"]


@dataclass(frozen=True)
class Aim:
    """What the rider wants; at most one of the speeds and powers, or a distance."""

    distance_m: float | None = None
    speed_mps: float | None = None
    power_w: float | None = None

    @property
    def is_set(self) -> bool:
        """Whether anything is wanted."""
        return self != Aim()


@dataclass(frozen=True)
class Target:
    """How the rider stands to the aim.

    Parameters
    ----------
    speed_mps, power_w
        What to hold: a speed over ground, or a battery power.
    distance_m
        Distance still to go.
    wh_per_km
        Consumption at the speed to hold.
    difference_fraction
        How far the last seconds are above it (below: negative).
    cue
        What to do.
    confidence_fraction
        The chance that the distance is made at the present speed, with the reserve kept.
    reason
        The same in a sentence.
    """

    speed_mps: Number
    power_w: Number
    distance_m: Number
    wh_per_km: Number
    difference_fraction: Number
    cue: Cue | Unknown
    confidence_fraction: Number
    reason: str
