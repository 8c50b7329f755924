"""What the coach asks for that is neither derived nor published: common practice, no source."""

SETTLE_S = 10.0
"""Time to hold power and course before a run counts [s]: a small craft has its speed within seconds
of a turn, and the first five are cut off any run found (`trial/stretches.py`)."""

HOLD_S = 60.0
"""Length of a straight run that the coach asks for [s]: the means of a minute hold to about half a
per cent in small waves; more runs then show more than longer ones, as they show what changes."""

OFF_POWER_FRACTION, OFF_POWER_MEAN_S = 0.05, 8
"""Deviation of the mean power from the target, over so many seconds, at which the rider is told."""

BACK_DEG = 40.0
"""Deviation from the reciprocal course up to which a straight stretch is the way back [deg]; the
comparison itself is stricter."""

LAP_LEAST_M = 60.0
"""Shortest loop that the coach counts as a lap [m]."""

LAP_CLOSES_FRACTION, LAP_TURNED_DEG = 0.05, 300.0
"""A lap is done when its end is as close to its start as this share of its length, and the course
has turned by this angle: nearly once round [deg]."""

LAP_POWER_FRACTION = 0.2
"""Deviation of the mean power from that of the lap at which the lap is abandoned."""

RECKON_AFTER_S = 10.0
"""Time from the end of a run until it is reckoned [s]: the end of a run shows within five seconds,
seconds settle within three, and the record is written each second."""

RECKON_AGAIN_S = 5.0
"""Pause before the record is read again if what is wanted was not in it yet [s]."""

LATE_S = 30.0
"""Time for which a run that the coach saw counts before the record confirms it [s]."""

CARRIED_WITHIN_S, SESSIONS_MOST = 12.0 * 3600.0, 12
"""Time since the last mark within which a trial goes on after a restart, a day on the water
[s]; and most sessions that are looked back on."""
