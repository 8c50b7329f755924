"""Set and drift as shown to the rider: only components that the courses ridden determine."""

from onboard.contract.figure import Estimate, Unknown
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import SetAndDrift
from onboard.efficiency.common_practice import (
    WATER_CLAIM_SD_MPS,
    WATER_FLOOR_SD_MPS,
)
from onboard.efficiency.curve.speed_power import Posterior
from onboard.efficiency.statistics.shared_errors import interval


def set_and_drift(known: Posterior | None) -> SetAndDrift | Unknown:
    """Return set and drift.

    Reciprocal courses alone determine only the component along them; three or more courses, or a
    circle, determine both.
    """
    if known is None:
        return Unknown(Reason.NO_STEADY_STRETCH)
    floor = WATER_FLOOR_SD_MPS**2
    east_2, north_2 = known.covariance[0, 0] + floor, known.covariance[1, 1] + floor
    mixed = float(known.covariance[0, 1])
    why = Unknown(Reason.COURSES_UNDETERMINED)
    figures: list[Estimate] = []
    for value, variance in zip(known.water_mps.tolist(), (east_2, north_2), strict=True):
        claimed = variance < WATER_CLAIM_SD_MPS**2
        figures.append(interval(value, float(variance) ** 0.5) if claimed else why)
    # Reciprocal courses oblique to both axes determine one direction, but neither component.
    difference = float(((east_2 - north_2) ** 2 / 4 + mixed**2) ** 0.5)
    if float(east_2 + north_2) / 2 - difference > WATER_CLAIM_SD_MPS**2:
        return Unknown(Reason.NEEDS_OTHER_COURSES)
    return SetAndDrift(figures[0], figures[1], (float(east_2), mixed, float(north_2)))
