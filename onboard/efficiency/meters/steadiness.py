"""What counts as moving and as steady: the thresholds of every rule, side by side.

The rules differ because they serve different ends; where they mean the same they share a number.

==============  ==========================  =======================================================
rule            where                       what it is for
==============  ==========================  =======================================================
at rest         `meters/track.py`           velocity noise must not add up to distance
moving          `meters/moving.py`          time under way; below its speed no Wh/km is quoted
steady now      `trip/steady_now.py`        how long a rider on a run has kept power and course:
                                            each 10 s against the mean so far
steady block    `curve/steady.py`           20 s that teach the curve, after 10 s of settling
straight leg    `trial/stretches.py`        a stretch without turns, settled, to be compared
same riding     `advice/present_riding.py`  back to where the rider changed something, so that a
                                            range goes on 'as now'
==============  ==========================  =======================================================

A steady block allows more change of power (12 %) than a run that a rider times (5 %): with a
throttle moved slowly by hand the craft follows without a lag that matters, which gives a valid
point of the curve, while a run is meant to be at one power. Both ask the same of speed and course.
A leg that the rider marked keeps whatever power did, to be judged later. 'Same riding' compares
logarithms and needs power and speed to change in one direction: gusts and water current change one
at the other's cost.

Where a docstring names no evidence, the value is common practice, without a source.
"""

import numpy as np

from onboard.block import FloatArray

# -- moving --

MOVING_MPS = 0.3
"""Speed over ground above which the craft is moving [m/s]; a consumption at a lower mean speed says
more about drift than about the craft. By definition of `moving_s`."""

MOVING_FOR_S = 5.0
"""A stretch counts as time under way once it lasts this long [s]. By definition of `moving_s`."""

COURSE_SLOWEST_MPS = 0.4
"""Lowest mean speed over ground at which a course is meaningful, and a stretch can be steady or
straight [m/s]."""

# -- steady: what runs and the curve ask alike --

STEADY_SPEED_FRACTION, STEADY_SPEED_MPS, STEADY_COURSE_DEG = 0.05, 0.08, 15.0
"""Speed may differ by the larger of the first two [share, m/s], course by the third [deg]."""

# -- steady now: a run, judged while it is ridden --

RUN_PIECE_S, RUN_PIECES_LEAST, RUN_POWER_FRACTION = 10, 3, 0.05
"""Length of the pieces judged, within which waves average out [s]; pieces needed to state their
scatter; and how far the power of a piece may differ from the mean of those before."""

RUN_LONG_ENOUGH_S, RUN_SURELY_S, RUN_SCATTER_FRACTION = 60.0, 300.0, 0.01
"""A run is long enough once it has been steady for a minute and its cost scatters by no more than
1 %, or for five minutes [s]. Trials of ships take at least five minutes (second-hand, see ITTC
7.5-04); that a small craft needs less is common practice, no source."""

# -- steady block of the curve --

STEADY_POWER_FRACTION, SETTLED_POWER_FRACTION, STEADY_UNKNOWN_MOST = 0.12, 0.20, 2
"""How far the power of the halves of a block may differ, and that of the ten seconds before it from
the block: a small craft settles within seconds. And most unknown seconds in the window."""

# -- straight leg of a trial --

TURNING_MEAN_S, TURNING_OVER_S, TURNING_DEG, STRAY_DEG = 5, 8, 12.0, 20.0
"""A craft is turning while its smoothed course changes by more than the third over that time; and a
stretch ends where the course has strayed by the last from its mean: a slow bend."""

WEAVE_DEG, WEAVE_S = 25.0, 15
"""In a marked run a craft that is back near its course so soon has not turned: it weaves."""

STRETCH_SETTLED_FRACTION, STRETCH_SETTLED_MPS, STRETCH_POWER_FRACTION = 0.03, 0.04, 0.1
"""How close the speed of a piece must be to the rest to be settled; and how far the smoothed power
may depart from its mean before a run in a log without marks ends."""

STRETCH_LEAST_S, STRETCH_LEAST_MARKED_S, STRETCH_GAP_S = 30, 15, 15.0
"""Shortest run, found and marked: ships take at least five minutes (second-hand, see ITTC 7.5-04),
small craft settle in seconds. And the gap in the data that a run survives if it continues on the
same course: cut in two it would make two double runs of one [s]."""

# -- same riding --

POWER_CHANGED, SPEED_CHANGED = 0.2, 0.05
"""Changes of ln P and ln v that are the rider's doing if both are exceeded in the same direction:
gusts and water current change one at the other's cost."""


def speed_tolerance_mps(speed_mps: FloatArray | float) -> FloatArray:
    """Return by how much a steady speed may differ [m/s].

    Parameters
    ----------
    speed_mps
        The mean speed [m/s], any shape.

    Examples
    --------
    >>> float(speed_tolerance_mps(4.0)), float(speed_tolerance_mps(1.0))
    (0.2, 0.08)
    """
    return np.maximum(STEADY_SPEED_MPS, STEADY_SPEED_FRACTION * speed_mps)
