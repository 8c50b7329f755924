"""What is left in the battery: the profile's energy less what was drawn, down to the reserve."""

from dataclasses import dataclass

from onboard.efficiency.figure import Estimate, Figure, Unknown
from onboard.profile import Battery


@dataclass(frozen=True)
class BatteryState:
    """What is left.

    Parameters
    ----------
    left_wh
        What can still be drawn above the reserve [Wh].
    left_fraction
        The same as a share of the pack's full energy.
    resistance_ohm
        Internal resistance of the whole pack [ohm].
    """

    left_wh: Estimate
    left_fraction: Estimate
    resistance_ohm: Estimate


def battery_state(battery: Battery | None, drawn_wh: float | Unknown) -> BatteryState | Unknown:
    """Count down from the charge that the profile states for the start of the trip.

    Parameters
    ----------
    battery
        The profile's battery, None where it has none.
    drawn_wh
        Energy drawn since the start of the trip [Wh].
    """
    if battery is None:
        return Unknown("no [battery] in the craft profile")
    resistance: Estimate = Unknown("the profile states none and none is learned")
    if battery.resistance_ohm is not None:
        resistance = Figure(battery.resistance_ohm)
    if isinstance(drawn_wh, Unknown):
        return BatteryState(drawn_wh, drawn_wh, resistance)
    full_wh = battery.full_wh
    left_wh = full_wh * (battery.start_fraction - battery.reserve_fraction) - drawn_wh
    left_wh = max(left_wh, 0.0)
    return BatteryState(Figure(left_wh), Figure(left_wh / full_wh), resistance)
