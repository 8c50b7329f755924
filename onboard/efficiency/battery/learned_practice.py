"""Thresholds without a source for what is learned of a pack between rides: common practice."""

CHARGER_CONTRADICTION_SD = 3.0
"""Deviation, in standard deviations, beyond which a charger's reading is not the sensor's error but
another: a mistyped amount, a meter at the wall, a charge or a ride that nobody stated."""

METERED_LEAST_FRACTION = 0.2
"""Charge from full below which a charger's reading is not used, as a share of the pack: the
repeatability of 'full' outweighs the sensor's gain."""

SAME_CHARGE_FRACTION = 0.01
"""Charge drawn up to which two statements are about the same charge, as a share of the pack: what a
craft draws at the mooring."""

AGEING_SD_FRACTION, AGEING_UNKNOWN_S = 0.02, 7 * 86400.0
"""Standard deviation of a pack's change of capacity within a year, growing with the square root of
time: packs lose 1 to 3 % a year, or in some hundred cycles. And the time since the last ride where
no clock shows it [s]."""

EARLIER_OHM_SD_FRACTION = 0.15
"""Relative standard deviation of a pack's resistance from one ride to the next, besides that with
temperature and charge: contacts, age, the pack's warmth inside."""

OHM_PER_K, OHM_PER_K_SD, DEGC_SD = 0.035, 0.015, 8.0
"""Relative fall of the resistance per kelvin and its standard deviation: cells at 0 degC have two
to three times the resistance of 25 degC. And the standard deviation of the temperature between two
rides where none is reported [K]."""

OHM_BY_CHARGE_SD_FRACTION = 0.3
"""Relative standard deviation of the resistance at another charge, per unit of charge apart: it
rises towards empty."""
