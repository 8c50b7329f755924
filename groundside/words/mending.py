"""What a rider can do so that something becomes known: a row a reason where something can."""

from collections.abc import Mapping

from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason


def mend_text(unknown: Unknown) -> str:
    """Give what to do, in a sentence; empty where waiting is all there is.

    Examples
    --------
    >>> mend_text(Unknown(Reason.NO_BATTERY)), mend_text(Unknown(Reason.NO_TIME))
    ('State the battery in the craft profile.', '')
    """
    return MENDING.get(unknown.code, "")


RIDE_STEADILY = "Ride straight for half a minute at one speed."
MEND_GPS = "Give the GPS a clear view of the sky, or look at its wiring."

MENDING: Mapping[Reason, str] = {
    Reason.NO_STEADY_STRETCH: RIDE_STEADILY,
    Reason.TOO_FEW_STRETCHES: RIDE_STEADILY,
    Reason.NEEDS_OTHER_COURSES: RIDE_STEADILY,
    Reason.NO_POSITION: MEND_GPS,
    Reason.NO_BATTERY: "State the battery in the craft profile.",
    Reason.NO_PROGRESS: "The water runs faster than any speed tried: make for the nearest shore.",
}
