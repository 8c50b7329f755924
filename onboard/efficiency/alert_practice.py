"""Thresholds of alerts that are neither derived nor published, and the basis of each.

As in `common_practice`: where a docstring names no evidence, the value is common practice, without
a source. Imports nothing.
"""

CELL_LEAST_V, CELL_MOST_V = 0.5, 5.0
"""Voltages of a cell that can be told from a loose tap, or from a pack stated in the cells' place:
no chemistry here reaches the second, and a cell below the first is one that is not connected."""

CELLS_APART_V = 0.05
"""Difference between the highest and the lowest cell that a pack in order may show at any charge:
errors of the taps, and what balancing leaves."""

CELLS_APART_CHARGE = 0.04
"""Cells of a pack in order differ from their mean by up to this in state of charge: capacities are
graded to a few per cent, and each discharges itself at its own rate until balanced again."""

CELLS_APART_OHM_AH = 0.15
"""Difference of resistance between two cells of a pack in order, times the capacity [ohm Ah]: half
as much again as a whole cell usually has (`CELL_OHM_AH`), which leaves room for the cold."""

CELLS_EVEN_AGAIN_FRACTION = 0.8
"""Share of the limit below which uneven cells are even again."""

HEAT_LIMIT_POWER_FRACTION, HEAT_LOOK_BACK_S, HEAT_THROTTLE_LEAST = 0.13, 600, 0.2
"""Drop of power beyond what throttle and voltage explain that shows a drive cutting back for heat;
the time over which heat builds up [s]; and the throttle below which a drive stays cool."""

HEAT_EASED_FRACTION, HEAT_HELD_SD_FRACTION, HEAT_COURSE_DEG = 0.05, 0.05, 30.0
"""Largest easing of the throttle that is allowed for, relative: beyond it the shape of the throttle
curve, which the autopilot may bend, counts more than the cube. Relative standard deviation up to
which a throttle is held over a minute; and the angle within which two courses are alike [deg]."""
