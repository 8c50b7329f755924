"""Thresholds and guesses about the way home. Common practice, without a source."""

WATER_RATE_SD_MPS2 = 0.15 / 3600.0
"""Standard deviation of the trend of the water along the way home [m/s per s]: a tide of 0.5 m/s
changes by up to 0.25 m/s an hour (12.4 h period, by algebra)."""

DRAG_SD_JPM, DRAG_RATE_SD_JPMS, DRAG_WALK_J2PM2S = 8.0, 65.0 / 3600.0, 8.0**2 / 1000.0
"""Standard deviation of the additional drag of wind [J/m of battery energy] at the start, and of
its trend [J/m per s]; and the variance rate of its random walk. A wind that gets up by 7 m/s in an
hour takes as much more from a craft at 2 m/s: (9^2 - 2^2) m^2/s^2 times 0.61 kg/m^3 times 0.7 m^2
of windage over an efficiency of 0.5."""

TREND_S = 7200.0
"""Memory of both trends [s]: a wind gets up for an hour or two."""

ALONG_COSINE, STRAIGHT_FRACTION, MINUTES_MOST, BEARING_STEP_DEG = 0.8, 0.95, 90, 2.0
"""Cosine of a course to the line home from which it counts as along it; distance made good in a
minute over distance covered from which the course was straight; minutes stored at most; and steps
of the line home's bearing."""

SURE_HOME_SD = 2.7
"""Standard deviations of the margin at which a speed for the way home counts as sure."""

CRAWL_POWER_FRACTION, CRAWL_SPEED_FRACTION = 0.3, 0.5
"""Least power for the way home, relative to the power ridden so far, about two thirds of the speed
through water; and least speed over ground, relative to that ridden so far. The cheapest speeds are
the least known, and leave the weather time to change."""

STEEPEST = 3.0
"""Power of the speed by which the battery's power falls at most towards speeds never ridden."""

SLOWED_MOST = 0.8
"""Largest share of the speed that unknown water is assumed to take: against more than that a craft
uses more power instead, which costs no more than five times as much either."""

LOADED_S, LOADED_LEAST_S, LOADED_NEAR_FACTOR = 120.0, 60, 1.06
"""Span over which the voltage under load is extrapolated [s], fewest seconds in it, and voltage
over cut-off up to which it is: about twice as far above as that of the alert."""

GIVES_OUT_S = 90.0
"""Time to the cut-off at the present power at which turning back is due [s]: to see the advice, to
ease off, and some to spare."""
