"""Set and drift as the rider sees it: what the courses ridden determine, and no more."""

from onboard.contract.figure import Estimate, Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import SetAndDrift
from onboard.efficiency.common_practice import (
    WATER_CLAIM_SD_MPS,
    WATER_FLOOR_SD_MPS,
)
from onboard.efficiency.curve.speed_power import Posterior
from onboard.efficiency.statistics.shared_errors import Z_95


def set_and_drift(known: Posterior | None) -> SetAndDrift | Unknown:
    """Return what is known of the water.

    Reciprocal courses alone determine the part along them only; three or more courses, or a circle,
    determine both.
    """
    if known is None:
        return Unknown(Reason.NO_STEADY_STRETCH)
    floor = WATER_FLOOR_SD_MPS**2
    east_2, north_2 = known.covariance[0, 0] + floor, known.covariance[1, 1] + floor
    mixed = float(known.covariance[0, 1])
    why = Unknown(Reason.COURSES_UNDETERMINED)
    figures: list[Estimate] = []
    for value, variance in zip(known.water_mps.tolist(), (east_2, north_2), strict=True):
        reach = Z_95 * float(variance) ** 0.5
        claimed = variance < WATER_CLAIM_SD_MPS**2
        figures.append(Figure(value, value - reach, value + reach) if claimed else why)
    # Reciprocal courses across both axes determine a direction, though neither component.
    difference = float(((east_2 - north_2) ** 2 / 4 + mixed**2) ** 0.5)
    if float(east_2 + north_2) / 2 - difference > WATER_CLAIM_SD_MPS**2:
        return Unknown(Reason.NEEDS_OTHER_COURSES)
    return SetAndDrift(figures[0], figures[1], (float(east_2), mixed, float(north_2)))
