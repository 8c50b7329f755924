"""How far and how long what is left will go at a given consumption."""

from onboard.efficiency.figure import Estimate, Figure, Unknown

HARDLY_DRAWING_W = 5.0
"""Below this mean power a time left would be a matter of days and of the sensor's zero."""


def range_m(left_wh: Estimate, wh_per_km: Estimate) -> Estimate:
    """Give the distance that the energy left makes at a consumption [m].

    Examples
    --------
    >>> range_m(Figure(640.0), Figure(385 / 11.3)).value.__round__()
    18784
    """
    if isinstance(left_wh, Unknown):
        return left_wh
    if isinstance(wh_per_km, Unknown):
        return wh_per_km
    if wh_per_km.value <= 0:
        return Unknown("no energy is being drawn")
    return Figure(left_wh.value / wh_per_km.value * 1000.0)


def time_left_s(left_wh: Estimate, power_w: float | Unknown) -> Estimate:
    """Give how long the energy left lasts at a mean power [s]."""
    if isinstance(left_wh, Unknown):
        return left_wh
    if isinstance(power_w, Unknown):
        return power_w
    if power_w < HARDLY_DRAWING_W:
        return Unknown("hardly drawing any power")
    return Figure(left_wh.value / power_w * 3600.0)
