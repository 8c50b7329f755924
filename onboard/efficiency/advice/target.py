"""The rider's target: what was asked for."""

from dataclasses import dataclass


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
