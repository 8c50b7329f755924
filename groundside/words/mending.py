"""What a rider can do to get a figure that is unknown."""

from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason

RIDE_STEADILY = "Ride straight for half a minute at one speed."
MEND_GPS = "Give the GPS a clear view of the sky, or check its wiring."
STATE_BATTERY = "State the battery in the craft profile."
NEAREST_SHORE = "The water runs faster than any speed tried: make for the nearest shore."


def mend_text(unknown: Unknown) -> str:
    """Return what to do, in a sentence; empty if waiting is all.

    Examples
    --------
    >>> mend_text(Unknown(Reason.NO_BATTERY)), mend_text(Unknown(Reason.NO_TIME))
    ('State the battery in the craft profile.', '')
    """
    match unknown.code:
        case Reason.NO_STEADY_STRETCH | Reason.TOO_FEW_STRETCHES | Reason.NEEDS_OTHER_COURSES:
            return RIDE_STEADILY
        case Reason.NO_POSITION:
            return MEND_GPS
        case Reason.NO_BATTERY:
            return STATE_BATTERY
        case Reason.NO_PROGRESS:
            return NEAREST_SHORE
    return ""
