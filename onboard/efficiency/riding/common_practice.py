"""Thresholds and guesses about ways of riding. Common practice, without a source."""

RIDING_SD_FRACTION, RIDING_SD_WORTH, RIDING_CORRELATION = 0.06, 1.0, 0.5
"""Relative standard deviation of consumption between blocks until known, the weight of that guess
in blocks, and the correlation of neighbouring blocks: gusts and water current persist."""

SETTLING_SD_FRACTIONS = (0.35, 0.16, 0.08)
"""Relative standard deviation of the first blocks' consumption at a new throttle, while the craft
still gains or loses way."""

LEG_COURSE_DEG = 60.0
"""Change of course that begins another leg [deg]."""

OTHER_COURSE_SHARE, OTHER_COURSE_SD_FRACTION = 0.2, 0.15
"""Share in what is to come of courses ridden before the present one, if not on the way back; and
relative standard deviation of the consumption on a new course about that on others."""

CHANCES = (0.5, 0.95)
"""Chance that a craft that has turned round once, or more often in a row, goes on so."""

COURSES_CHANGE = 0.3
"""Standard deviation of what the courses' difference is to become, as a share of it: wind and water
that make it change."""

TURN_SD_FRACTION = 0.1
"""Relative standard deviation of what a single turn round does to the consumption."""

HELD_POWER_SD, HELD_POWER_CHANGED, THROTTLE_CHANGED = 0.012, 0.06, 0.01
"""Relative standard deviation between blocks up to which power is held, and the change that is then
another level; and the relative change of the throttle that moved it."""

POWER_STEPPED = 0.15
"""Change of ln P from one pair of blocks to the next on a straight course that is a hand's."""

RECIPROCAL_DEG = 30.0
"""Two courses are opposite, or the same again, to within this angle [deg]."""

TURNED_STRAIGHT_LEAST, TURNED_DEG = 0.97, 30.0
"""Length of the mean unit vector of a block's course below which the craft turned in it: courses
that scatter by 14 degrees or more; and the change of course from one block to the next [deg]."""

LINE_SLOPE, LINE_SLOPE_SD, LINE_SD_FRACTION = 0.65, 0.25, 0.08
"""Slope of ln Wh/km over ln W, and its standard deviation, of displacement and planing craft; and
the least relative standard deviation about a ride's own line."""

SAG_OF_UNKNOWN_THROTTLE = 0.0, 1.0
SAG_OF_STEADY_THROTTLE = 1.6, 1.0
SAG_OF_MOVED_THROTTLE = 0.0, 0.3
"""d ln P / d ln V and its standard deviation, where the throttle is not reported, stays, or is
moved while power stays."""

THROTTLE_STEADY_SD = 0.015
"""Relative standard deviation of a throttle that stays."""
