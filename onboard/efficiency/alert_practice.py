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

CELLS_JUDGED = 0.22, 0.92
"""State of charge, by the mean voltage, between which cells are judged: beyond, the open-circuit
curves of published cells differ by more than the cells of a pack may."""

CELLS_EVEN_AGAIN_FRACTION = 0.8
"""Share of the limit below which uneven cells are even again."""

HELD_SD_FRACTION = 0.05
"""Relative standard deviation up to which throttle or revs are held over a minute."""

HEAT_LIMIT_POWER_FRACTION, HEAT_LOOK_BACK_S, HEAT_THROTTLE_LEAST = 0.12, 600, 0.2
"""Drop of power beyond what throttle and voltage explain that shows a drive cutting back for heat;
the time over which heat builds up [s]; and the throttle below which a drive stays cool."""

HEAT_EASED_FRACTION, HEAT_COURSE_DEG = 0.05, 30.0
"""Largest easing of the throttle that is allowed for, relative: beyond it the shape of the throttle
curve, which the autopilot may bend, counts more than the cube. And the angle within which two
courses are alike [deg]."""

LOAD_EXCESS_FRACTION, LOAD_LOOK_BACK_S, LOAD_HOLDS_S, LOAD_LASTS_S = 0.1, 300, 30, 900
"""Excess of power at the revs that shows a fouled propeller; how far back minutes are compared, as
weed comes in a moment [s]; for how long it must hold, as a gust or a wake is over sooner [s]; and
the time after which a lasting excess counts as a changed craft, as in `FOULED_BLOCKS_MOST` [s]."""

LOAD_COURSE_DEG, LOAD_REVS_MOST = 15.0, 0.25
"""Angle within which two courses are alike [deg]; and the change of ln of the revs beyond which two
minutes are not compared."""

LOAD_FELL_MOST, LOAD_EASED_MOST, LOAD_OPENED_MOST = 0.03, 0.25, 0.05
"""Where throttle times voltage stands in for the revs: the most by which ln of the power may have
fallen, and that of the stand-in fallen or risen."""

STEP_BLOCKS, STEP_BEFORE_LEAST, STEP_BEFORE_MOST, STEP_LOOK_BACK_S = 6, 4, 8, 900.0
"""Steady blocks whose mean is compared, with the mean of so many before them on a like course at
least and at most, and how far back these may lie [s]. Two minutes average most gusts."""

STEP_SD = 4.5
"""Standard deviations of a step of cost that is no chance: of the many minutes of a season few may
show one."""

STEP_COURSE_DEG, STEP_SLOWEST_MPS, STEP_EXPONENTS = 10.0, 0.6, (2.0, 7.0)
"""Angle within which two courses are alike [deg]; speed below which the water decides more than the
craft [m/s]; and exponents of power over speed that hulls have where they get slower."""

STEP_EASED_MOST, STEP_OPENED_MOST = 0.15, 0.6
"""The most by which ln P may have fallen or risen: beyond, the rider chose another power."""

STEP_SCATTER_WORTH, STEP_SCATTER_LEAST, STEP_WALK_SHARE = 4.0, 0.02, 1.0 / 3.0
"""Weight in blocks of the ride's scatter as a prior of that here; its least value in ln P; and the
share of the water's random walk that falls between two spans on one course: it is sized for an
hour's tide as well."""

FOULED_SD_MOST, FOULED_SCATTER_FEWEST, FOULED_SCATTER_MOST = 0.1, 9, 90
"""Standard deviation of ln P at a speed up to which a learned curve can convict; and blocks about
the curve that show how they usually lie: from so many on, of the last half hour."""
