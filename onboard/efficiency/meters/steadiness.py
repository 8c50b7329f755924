"""Thresholds of moving and of steady, for every rule, side by side.

The rules differ because they serve different purposes; where these agree they share a constant.

==============  ==========================  =======================================================
rule            where                       purpose
==============  ==========================  =======================================================
at rest         `meters/track.py`           velocity noise must not add up to distance
moving          `meters/moving.py`          time under way; below its speed no Wh/km is quoted
steady now      `trip/steady_now.py`        how long power and course of a run have been steady:
                                            each 10 s against the mean so far
steady block    `curve/steady.py`           20 s to learn the curve from, after 10 s of settling
straight leg    `trial/stretches.py`        a stretch without turns, settled, to be compared
lap             `trial/laps.py`             a round of a closed course at held power, settled, to
                                            be compared
same riding     `riding/like_blocks.py`     back to where the rider changed something, so that a
                                            range goes on 'as now'
==============  ==========================  =======================================================

A steady block allows more change of power (12 %) than a run that a rider times (5 %): while the
throttle moves slowly the craft follows without a relevant lag, which gives a valid point of the
curve, whereas a run is meant to be at one power. Both have the same limits of speed and course. In
a leg marked by the rider all changes of power stay, to be judged later. 'Same riding' compares
logarithms and requires power and speed to change in the same direction: gusts and water current
change one at the expense of the other.

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

# -- steady: common to runs and the curve --

STEADY_SPEED_FRACTION, STEADY_SPEED_MPS, STEADY_COURSE_DEG = 0.05, 0.08, 15.0
"""Speed may differ by the larger of the first two [share, m/s], course by the third [deg]."""

# -- steady now: a run, judged while it is ridden --

RUN_PIECE_S, RUN_PIECES_LEAST, RUN_POWER_FRACTION = 10, 3, 0.05
"""Length of the pieces judged, within which waves average out [s]; pieces needed to state their
scatter; and the largest relative deviation of a piece's power from the mean of those before."""

RUN_LONG_ENOUGH_S, RUN_SURELY_S, RUN_SCATTER_FRACTION = 60.0, 300.0, 0.01
"""A run is long enough once it has been steady for a minute and its cost scatters by no more than
1 %, or for five minutes [s]. Trials of ships take at least five minutes (second-hand, see ITTC
7.5-04); that a small craft needs less is common practice, no source."""

# -- steady block of the curve --

STEADY_POWER_FRACTION, SETTLED_POWER_FRACTION, STEADY_UNKNOWN_MOST = 0.12, 0.20, 2
"""Largest relative difference of power between the halves of a block, and between the ten seconds
before it and the block: a small craft settles within seconds. And most unknown seconds in the
window."""

# -- straight leg of a trial --

TURNING_MEAN_S, TURNING_OVER_S, TURNING_DEG, STRAY_DEG = 5, 8, 12.0, 20.0
"""A craft is turning while its smoothed course changes by more than the third over that time; and a
stretch ends where the course has strayed by the last from its mean: a slow bend."""

WEAVE_DEG, WEAVE_S = 25.0, 15
"""In a marked run, a craft back within this of its course [deg] within this time [s] weaves: it has
not turned."""

STRETCH_SETTLED_FRACTION, STRETCH_SETTLED_MPS, STRETCH_POWER_FRACTION = 0.03, 0.04, 0.1
"""Largest deviation of a settled piece's speed from the rest [share, m/s]; and largest deviation of
the smoothed power from its mean before a run in a log without marks ends."""

STRETCH_LEAST_S, STRETCH_LEAST_MARKED_S, STRETCH_GAP_S = 30, 15, 15.0
"""Shortest run, found and marked: ships take at least five minutes (second-hand, see ITTC 7.5-04),
small craft settle in seconds. And the gap in the data that a run survives if it continues on the
same course: cut in two it would make two double runs of one [s]."""

# -- lap of a trial --

LAP_GAP_FRACTION, LAP_COURSE_DEG, LAP_LEAST_S, LAP_LEAST_MARKED_S = 0.05, 45.0, 60, 30
"""Largest distance from the end of a lap to its start, as a share of its length: of a steady water
current of 0.15 of the speed it leaves 0.75 %. Largest difference of course there [deg], and
shortest lap, found and marked: a tight circle is a turn [s]."""

LAP_THIN_FRACTION, LAP_LINE_SHARE = 0.11, 0.6
"""A round is a there-and-back if the area that it encloses is below the first share of the square
of half its length, and its courses, doubled, have a larger resultant than the second. Of an oval
with straights of six times the width these are 0.12 and 0.79, of a circle 0.32 and 0."""

LAP_CHANGE_FRACTION, LAP_SLIP_FRACTION, LAP_LEVEL_FRACTION = 0.35, 0.5, 0.2
"""Power changes if its means over ten seconds before and after differ by the first share, or slips
if for three seconds it is below the second share of the ten around; and a part at held power begins
and ends within the third of its mean."""

LAP_SETTLE_S, LAP_SETTLED_FRACTION = 10, 0.05
"""A craft has settled after this time, as before a steady block [s], or once its speed, without the
water's part, is lower by no more than this share than after it."""

LAP_UNKNOWN_FRACTION, LAP_SINGLE_SHARE, LAP_SINGLE_OF_ALL_SHARE = 0.03, 0.3, 0.25
"""Largest share of unknown seconds in a lap. And the shares of the time under way at its power, and
of all time under way, that a round must have, unless it is repeated or marked, to be a lap: who
rides about closes a round now and then."""

LAP_ALIKE_FRACTION, LAP_HELD_SHARE = 0.1, 0.6
"""Rounds are the same again if their lengths differ by no more than the first [ln]. A round through
which power was not held is worth stating if it is the same as the laps found or, without any, if
power was held through the second share of it."""

LAP_NEARLY_FRACTION, LAP_NEARLY_MARKED_FRACTION = 0.25, 0.35
"""Largest share missing of a lap that was cut short, found and marked; two sides of a triangle lack
a third."""

COURSE_LENGTH_FRACTION, COURSE_SHAPE_FRACTION, LAP_CROSSED_FRACTION = 0.04, 0.25, 0.03
"""Differences of length, and of enclosed area over squared length, from which on laps are round
different courses; and that ratio below which a course crosses itself, and has no way round."""

# -- same riding --

POWER_CHANGED, SPEED_CHANGED = 0.2, 0.05
"""Changes of ln P and ln v that are the rider's doing if both are exceeded in the same direction:
gusts and water current change one at the expense of the other."""


def speed_tolerance_mps(speed_mps: FloatArray | float) -> FloatArray:
    """Return the tolerance of a steady speed [m/s].

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
