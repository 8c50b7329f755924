"""The rider's units: SI inside, converted here and nowhere else.

A new set is one row of `CHOICES`. The craft profile's `[units] speed` offers the same names; a test
checks that the two agree.

Constants
---------
International nautical mile: 1852 m exactly; knot: one nautical mile per hour (SI Brochure, 8th
edition, table 8; quoted from memory, checked against `scipy.constants` by a test).
Statute mile: 1760 yards of 0.9144 m, 1609.344 m exactly (international yard of 1959, NIST SP 811
appendix B; quoted from memory, checked against `scipy.constants` by a test).
"""

from collections.abc import Mapping

from onboard.dataclass import dataclass
from onboard.errors import UsageError

METRES_IN_KILOMETRE = 1000.0
METRES_IN_NAUTICAL_MILE = 1852.0
METRES_IN_MILE = 1609.344
SECONDS_IN_HOUR = 3600.0


@dataclass(frozen=True)
class Units:
    """A set of units used together on one screen.

    Parameters
    ----------
    speed_name, distance_name
        The units' symbols, such as `km/h` and `km`.
    speed_unit_mps
        One unit of speed [m/s].
    distance_unit_m
        One unit of distance [m].
    speed_band
        Width of a report's speed bands [speed units], one of those that the engine keeps
        (`onboard.efficiency.trip.speed_bands.WIDTHS_MPS`).
    """

    speed_name: str
    speed_unit_mps: float
    distance_name: str
    distance_unit_m: float
    speed_band: float = 1.0

    @property
    def consumption_name(self) -> str:
        """Symbol of the unit of consumption, such as `Wh/km`."""
        return f"Wh/{self.distance_name}"

    def speed(self, speed_mps: float) -> float:
        """Convert a speed.

        Examples
        --------
        >>> CHOICES["km/h"].speed(2.5)
        9.0
        """
        return speed_mps / self.speed_unit_mps

    def distance(self, distance_m: float) -> float:
        """Convert a distance.

        Examples
        --------
        >>> CHOICES["kn"].distance(926.0)
        0.5
        """
        return distance_m / self.distance_unit_m

    def consumption(self, wh_per_km: float) -> float:
        """Convert a consumption.

        Examples
        --------
        >>> CHOICES["kn"].consumption(50.0)
        92.6
        """
        return wh_per_km * self.distance_unit_m / METRES_IN_KILOMETRE


CHOICES: Mapping[str, Units] = {
    units.speed_name: units
    for units in (
        Units("km/h", METRES_IN_KILOMETRE / SECONDS_IN_HOUR, "km", METRES_IN_KILOMETRE),
        Units("m/s", 1.0, "km", METRES_IN_KILOMETRE, 0.25),
        Units("kn", METRES_IN_NAUTICAL_MILE / SECONDS_IN_HOUR, "NM", METRES_IN_NAUTICAL_MILE, 0.5),
        Units("mph", METRES_IN_MILE / SECONDS_IN_HOUR, "mi", METRES_IN_MILE),
    )
}
"""The sets to choose from, by the name of their speed unit; `next_units` cycles through them."""

DEFAULT = CHOICES["km/h"]
"""Units of texts without a reader's choice, such as those in JSON."""


def units_named(speed_name: str) -> Units:
    """Return the set with this name of its speed unit.

    Raises
    ------
    UsageError
        If there is none.

    Examples
    --------
    >>> units_named("kn").distance_name
    'NM'
    """
    try:
        return CHOICES[speed_name]
    except KeyError:
        raise UsageError(f"units {speed_name!r}: expected one of {', '.join(CHOICES)}") from None


def next_units(units: Units) -> Units:
    """Return the next set; the first follows the last.

    Examples
    --------
    >>> next_units(CHOICES["mph"]).speed_name
    'km/h'
    """
    sets = list(CHOICES.values())
    return sets[(sets.index(units) + 1) % len(sets)] if units in sets else sets[0]
