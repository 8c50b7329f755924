"""From metres to degrees on the WGS84 ellipsoid."""

import numpy as np

from tests.craft.chance import Array
from tests.craft.truth import running_integral

WGS84_A_M = 6378137.0
WGS84_F = 1.0 / 298.257223563
"""WGS84 equatorial radius and flattening (as in the library GeographicLib)."""


def radii_m(latitude_deg: Array) -> tuple[Array, Array]:
    """Return the radii of curvature: along the meridian, and across it."""
    squared = WGS84_F * (2.0 - WGS84_F)
    root = np.sqrt(1.0 - squared * np.sin(np.radians(latitude_deg)) ** 2)
    return WGS84_A_M * (1.0 - squared) / root**3, WGS84_A_M / root


def positions_deg(
    latitude_deg: float, longitude_deg: float, east_mps: Array, north_mps: Array, step_s: float
) -> tuple[Array, Array]:
    """Integrate a velocity over ground into latitudes and longitudes."""
    latitudes = np.full_like(north_mps, latitude_deg)
    for _ in range(3):  # the radius depends on the latitude sought, but weakly
        along, _across = radii_m(latitudes)
        latitudes = latitude_deg + np.degrees(running_integral(north_mps / along, step_s))
    _along, across = radii_m(latitudes)
    rates = east_mps / (across * np.cos(np.radians(latitudes)))
    return latitudes, longitude_deg + np.degrees(running_integral(rates, step_s))
