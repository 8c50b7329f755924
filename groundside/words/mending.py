"""What a rider can do to make an unknown figure known."""

from collections.abc import Mapping

from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason

RIDE_STEADILY = "Ride straight for half a minute at one speed."

MENDING: Mapping[Reason, str] = {
    Reason.NO_STEADY_STRETCH: RIDE_STEADILY,
    Reason.TOO_FEW_STRETCHES: RIDE_STEADILY,
    Reason.NEEDS_OTHER_COURSES: RIDE_STEADILY,
    Reason.NO_POSITION: "Give the GPS a clear view of the sky, or check its wiring.",
    Reason.NO_BATTERY: "State the battery in the craft profile.",
    Reason.NO_PROGRESS: "The water runs faster than any speed tried: make for the nearest shore.",
}
"""What to do, by reason; nothing can be done about the others."""


def mend_text(unknown: Unknown) -> str:
    """Return what to do, in a sentence; empty if one can only wait.

    Examples
    --------
    >>> mend_text(Unknown(Reason.NO_BATTERY)), mend_text(Unknown(Reason.NO_TIME))
    ('State the battery in the craft profile.', '')
    """
    return MENDING.get(unknown.code, "")
