"""Resistance of the hull: friction by the ITTC-1957 line, and waves by a smooth model.

The wave model is specific to this simulation, shaped like measured residuary resistance: it rises
with the fourth to seventh power of speed to a hump, and may fall as a light hull starts to plane
(shape after the means of the Delft yacht series, Fn 0.2 to 0.45).
"""

import math
from dataclasses import dataclass

GRAVITY_MPS2 = 9.80665
"""Standard gravity (CGPM 1901)."""

LOWEST_REYNOLDS = 1.0e4
"""The friction line has a pole at Reynolds number 100: below this the coefficient is constant."""


@dataclass(frozen=True)
class Hull:
    """A hull, loaded and ready to go."""

    length_waterline_m: float
    wetted_area_m2: float
    mass_kg: float
    form_fraction: float
    """Viscous resistance beyond that of a flat plate, and appendages."""
    hump_fraction: float
    """Wave resistance at the hump, as a fraction of the weight."""
    hump_froude: float
    rise_exponent: float
    """Power of speed at which wave resistance rises well below the hump."""
    fall_exponent: float | None
    """Power of speed at which it falls well above the hump; None if it only rises."""
    windage_area_m2: float
    """Frontal area times drag coefficient, hull and rider."""
    added_mass_fraction: float = 0.08
    turn_drag_s: float = 0.25
    """Drift angle per rate of turn [rad per rad/s]; it costs speed in turns."""


def friction_coefficient(reynolds: float) -> float:
    """Return the ITTC-1957 friction coefficient, C_F = 0.075 / (log10 Re - 2)^2."""
    return 0.075 / (math.log10(max(reynolds, LOWEST_REYNOLDS)) - 2.0) ** 2


def friction_n(hull: Hull, speed_mps: float, density_kgpm3: float, viscosity_m2ps: float) -> float:
    """Return the friction of a flat plate with the hull's wetted area [N]."""
    reynolds = speed_mps * hull.length_waterline_m / viscosity_m2ps
    pressure_pa = 0.5 * density_kgpm3 * speed_mps * speed_mps
    return pressure_pa * hull.wetted_area_m2 * friction_coefficient(reynolds)


def wave_fraction(hull: Hull, froude: float) -> float:
    """Return the wave resistance as a fraction of the weight; `hump_fraction` at the hump."""
    ratio = froude / hull.hump_froude
    if hull.fall_exponent is None:
        return hull.hump_fraction * math.pow(ratio, hull.rise_exponent)
    # The only balance for which the quotient has its maximum of 1 exactly at ratio 1.
    balance = hull.rise_exponent / hull.fall_exponent
    total = hull.rise_exponent + hull.fall_exponent
    rise = (1.0 + balance) * math.pow(ratio, hull.rise_exponent)
    return hull.hump_fraction * rise / (1.0 + balance * math.pow(ratio, total))


def resistance_n(
    hull: Hull, speed_mps: float, density_kgpm3: float, viscosity_m2ps: float
) -> float:
    """Return the resistance at a steady speed through calm water [N], signed as the speed."""
    speed = abs(speed_mps)
    froude = speed / math.sqrt(GRAVITY_MPS2 * hull.length_waterline_m)
    viscous = (1.0 + hull.form_fraction) * friction_n(hull, speed, density_kgpm3, viscosity_m2ps)
    waves = wave_fraction(hull, froude) * hull.mass_kg * GRAVITY_MPS2
    return math.copysign(viscous + waves, speed_mps)
