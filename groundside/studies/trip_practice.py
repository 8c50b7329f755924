"""Guesses that a plan rests on and nothing measured: of wind, windage, and the ride to come.

Common practice, without a source, where none is named.
"""

AIR_DENSITY_KGPM3 = 1.225
"""Standard atmosphere at sea level, 15 degC (ISO 2533)."""

WINDAGE_M2, WINDAGE_SD_FRACTION = 0.7, 0.4
"""Frontal area times drag coefficient of a craft under 5 m with its rider [m^2], and the relative
standard deviation of that guess: a person who kneels on a board has about 0.4, a skiff with two
aboard about 1."""

DRIVE_FRACTION = 0.45
"""Share of battery power that moves the craft: controller, motor and a small propeller together."""

UNKNOWN_WIND_SD_MPS, STATED_WIND_SD_MPS = 2.8, 1.0
"""Standard deviation of the wind along a course where none is stated, and about a stated one [m/s].
Winds up to 6 m/s from anywhere, all equally likely, have 2.4; their drag bends upwards."""

RIDDEN_OHM_FACTOR, RIDDEN_DEGC = 1.5, 18.0
"""Resistance of a pack over a whole trip, over the stated or usual one: slow diffusion and growth
near empty. And the temperature [degC] at which it holds. Chosen so that the energy of simulated
packs is met on average (tests/evaluation, planned_trip)."""

COLD_LOSS_PER_K, RATED_DEGC = 0.005, 25.0
"""Share of the capacity that a pack cannot give for each kelvin below the temperature [degC] at
which it is rated: an eighth at 0 degC."""

SURE_FRACTION, LIKELY_FRACTION = 0.99, 0.95
"""Chances at which a trip counts as sure, and as likely."""

COUNTED_APART_FRACTION = 0.65
"""Share of a learned curve's variance from day to day that a plan counts apart: wind is a term of
its own, and load is stated. Chosen so that stated chances of simulated trips hold
(tests/evaluation, planned_trip)."""
