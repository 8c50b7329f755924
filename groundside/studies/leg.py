"""A leg of the way ahead. Imports nothing heavy: the command line reads legs as it starts."""

from onboard.dataclass import dataclass


@dataclass(frozen=True)
class Leg:
    """A part of the way.

    Parameters
    ----------
    distance_m
        Its length.
    head_current_mps, headwind_mps
        Water current and wind against the craft; negative if they help, None if not stated.
    """

    distance_m: float
    head_current_mps: float | None = None
    headwind_mps: float | None = None

    def back(self) -> "Leg":
        """Return the leg as ridden the other way."""
        water, wind = self.head_current_mps, self.headwind_mps
        return Leg(
            self.distance_m, None if water is None else -water, None if wind is None else -wind
        )
