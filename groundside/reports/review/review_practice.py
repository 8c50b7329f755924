"""Limits of a review that have no source: common practice, each with what it rests on."""

MOVED_LEAST_S = 60.0
"""Time from which an instrument that never answers counts as broken [s]: a receiver or a monitor
takes some seconds to begin, and a push off the jetty needs no motor."""

VOLTAGE_LEAST_S, STEPS_FROM_A = 300.0, 5.0
"""Time and change of current from which a voltage must have moved [s, A]: even a pack of 5 mOhm
then moves by 25 mV, and the steps of monitors are 1 to 10 mV."""

COURSE_FROM_MPS = 1.0
"""Speed from which a receiver must know its course [m/s]: its velocity is good to some 0.1 m/s."""

LEG_M, TURNED_DEG = 50.0, 90.0
"""Length of a leg [m] and change of direction between two of them [deg] from which a course must
have changed: ten times the error of a position, so that drift at anchor is no turn."""
