"""The rider's target."""

from onboard.dataclass import dataclass


@dataclass(frozen=True)
class Aim:
    """The rider's target: at most one of a speed, a power or a distance."""

    distance_m: float | None = None
    speed_mps: float | None = None
    power_w: float | None = None

    @property
    def is_set(self) -> bool:
        """Whether there is a target."""
        return self != Aim()
