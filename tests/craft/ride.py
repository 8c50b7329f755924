"""A whole ride: the plan's legs in turn, step by step, from a seed to its truth."""

from dataclasses import replace

from tests.craft.craft import Ride
from tests.craft.rider import Steer
from tests.craft.truth import Truth
from tests.craft.voyage import Voyage

STEP_S = 0.05
"""Twenty steps per second: the shortest lag in the model, the helm's, is sixteen of them."""


def simulate(ride: Ride, seed: int, step_s: float = STEP_S) -> Truth:
    """Ride the plan; return the truth."""
    voyage = Voyage(ride, seed, sum(leg.duration_s for leg in ride.plan), step_s)
    number = 0
    while voyage.index < voyage.count:
        if _ended(voyage, number):
            if number + 1 == len(ride.plan):
                break
            number += 1
            voyage.begin(ride.plan[number])
        voyage.one_step()
    # Keep all names, even if the plan ended early by arriving.
    return replace(voyage.truth(), leg_names=tuple(leg.name for leg in ride.plan))


def _ended(voyage: Voyage, number: int) -> bool:
    """Return whether the leg is over: its time is up, or the craft has arrived."""
    ride = voyage.ride
    leg = ride.plan[number]
    last = number + 1 == len(ride.plan)
    if leg.steer is Steer.HOME and voyage.home_m < ride.rider.arrival_m:
        return True
    # The last leg includes its last instant; that of any other leg belongs to the next one.
    return voyage.in_leg_s > leg.duration_s + (1e-9 if last else -1e-9)
