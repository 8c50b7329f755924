"""Thresholds and guesses about the way home. Common practice, without a source."""

WATER_RATE_SD_MPS2 = 0.15 / 3600.0
"""Standard deviation of the trend of the water along the way home [m/s per s]: a tide of 0.5 m/s
changes by up to 0.25 m/s an hour (12.4 h period, by algebra)."""

DRAG_SD_JPM, DRAG_RATE_SD_JPMS, DRAG_WALK_J2PM2S = 8.0, 50.0 / 3600.0, 8.0**2 / 1000.0
"""Standard deviation of the additional drag of wind [J/m of battery energy] at the start, and of
its trend [J/m per s]; and the variance rate of its random walk."""

ALONG_COSINE, STRAIGHT_FRACTION, MINUTES_MOST = 0.8, 0.95, 240
"""Cosine of a course to the line home from which it counts as along it; distance made good in a
minute over distance covered from which the course was straight; and minutes stored at most."""

SURE_HOME_SD = 2.5
"""Standard deviations of the margin at which a speed for the way home counts as sure."""
