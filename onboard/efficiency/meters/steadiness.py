"""What counts as moving and as steady: the thresholds of every rule, side by side.

The rules differ because they serve different ends; where they mean the same they share a number.

=================  =========================  ================================================
rule               where                      what it is for
=================  =========================  ================================================
at rest            `meters/track.py`          velocity noise must not add up to distance
moving             `meters/moving.py`         time under way; no Wh/km is quoted below it
steady now         `trip/steady_now.py`       how long a rider has kept power and course: each
                                              10 s against the mean so far, to show during a run
steady block       `curve/steady.py`          20 s that teach the curve, after 10 s of settling
straight leg       `trial/stretches.py`       a stretch without turns, settled, to compare
same riding        `advice/present_riding.py` back to where the rider changed something, so that a
                                              range goes on 'as now'
=================  =========================  ================================================

A steady block allows more change of power (12 %) than a run that a rider times (5 %): a throttle
moved slowly by hand still gives a valid point of the curve, as the craft follows without a lag that
matters, while a run is meant to be at one power. Both ask the same of speed and course. 'Same
riding' compares logarithms of power and speed and needs both to change in one direction: gusts and
water current change one at the other's cost.

All are common practice without a source, except where a docstring says otherwise.
"""

import numpy as np

from onboard.block import FloatArray

# -- moving --

MOVING_MPS = 0.3
"""Speed over ground above which the craft is moving [m/s]; a consumption at a lower mean speed says
more about drift than about the craft. By definition of `moving_s`."""

MOVING_FOR_S = 5.0
"""A stretch counts as time under way once it lasts this long [s]. By definition of `moving_s`."""

COURSE_LEAST_MPS = 0.4
"""Slowest mean speed over ground at which its course is trusted and a stretch can be steady
[m/s]."""

# -- steady: shared by runs and by the curve --

STEADY_SPEED_FRACTION, STEADY_SPEED_MPS = 0.05, 0.08
"""Speed may differ by the larger of this share and this much [m/s]."""

STEADY_COURSE_DEG = 15.0
"""Course may differ by this much [deg]."""

# -- a run, judged while it is ridden --

RUN_PIECE_S = 10
"""Length of the pieces that are judged [s]: waves average out within them."""

RUN_POWER_FRACTION = 0.05
"""Power of a piece may differ from the mean of those before it by this share."""

RUN_PIECES_LEAST = 3
"""Fewer pieces say nothing about their scatter."""

RUN_LONG_ENOUGH_S, RUN_SURELY_S = 60.0, 300.0
RUN_SCATTER_FRACTION = 0.01
"""A run is long enough once it has been steady for a minute and its cost scatters by no more than
1 %, or for five minutes [s]. Trials of ships take at least five minutes (second-hand, see ITTC
7.5-04); that a small craft needs less is common practice, no source."""


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
    tolerance: FloatArray = np.maximum(STEADY_SPEED_MPS, STEADY_SPEED_FRACTION * speed_mps)
    return tolerance
