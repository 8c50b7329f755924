"""Thresholds and guesses about ways of riding. Common practice, without a source."""

# -- how blocks scatter --

RIDING_SD_FRACTION, RIDING_SD_WORTH = 0.06, 1.0
"""Relative standard deviation of consumption between blocks until known, and the weight of that
guess in blocks."""

RIDING_CORRELATION, RIDING_CORRELATION_WORTH, RIDING_CORRELATION_MOST = 0.5, 2.5, 0.95
"""Correlation of neighbouring blocks until known: gusts and water current persist; the weight of
that guess in blocks; and the highest correlation believed."""

SETTLING_SD_FRACTIONS = (0.35, 0.16, 0.08)
"""Relative standard deviation of the first blocks' consumption at a new throttle, while the craft
still gains or loses way."""

NEWEST, NEWEST_BEYOND_SD = ((1, 1.0), (3, 1.0), (12, 2.5)), 2.0
"""Pairs: a number of newest blocks, and the standard deviations of the mean that their difference
from the mean of all is taken for, since it may pass or last; and the standard deviations up to
which that difference is chance."""

# -- where a riding begins --

HELD_POWER_SD, HELD_POWER_CHANGED, THROTTLE_CHANGED = 0.012, 0.06, 0.01
"""Relative standard deviation between blocks up to which power is held, and the change that is then
another level; and the relative change of the throttle that moved it."""

POWER_STEPPED = 0.15
"""Change of ln P from one pair of blocks to the next on a straight course that is the rider's."""

TURNED_STRAIGHT_LEAST, TURNED_DEG = 0.97, 30.0
"""Length of the mean unit vector of a block's course below which the craft turned in it: courses
that scatter by 14 degrees or more; and the change of course from one block to the next [deg]."""

# -- courses --

LEG_COURSE_DEG = 60.0
"""Change of course that begins another leg [deg]."""

RECIPROCAL_DEG = 30.0
"""Two courses are opposite to within this angle [deg]."""

OTHER_COURSE_SHARE, OTHER_COURSE_SD_FRACTION = 0.2, 0.15
"""Share in what is to come of courses ridden before the present one, if not on the way back; and
relative standard deviation of the consumption on a new course about that on others."""

CHANCES, STRAIGHT_ON_FACTOR = (0.5, 0.95), 2
"""Chance that a craft that has turned round once, or more often in a row, goes on so; and how many
times as long as the longest leg before the present one must be to end it."""

TURN_SD_FRACTION = 0.1
"""Relative standard deviation of what a single turn round does to the consumption."""

COURSES_CHANGE = 0.3
"""Standard deviation of how the difference between both directions changes, as a share of it: wind
and water do not stay."""

# -- the ride's own line --

LINE_SLOPE, LINE_SLOPE_SD, LINE_SD_FRACTION = 0.65, 0.25, 0.08
"""Slope of ln Wh/km over ln W, and its standard deviation, of displacement and planing craft; and
the least relative standard deviation about a ride's own line."""

# -- a falling voltage --

SAG_OF_UNKNOWN_THROTTLE = 0.0, 1.0
SAG_OF_STEADY_THROTTLE = 1.6, 1.0
SAG_OF_MOVED_THROTTLE = 0.0, 0.5
"""d ln P / d ln V and its standard deviation, where the throttle is not reported, stays, or is
moved while power stays."""

THROTTLE_STEADY_SD, THROTTLE_KNOWN_SHARE, THROTTLE_BLOCKS_LEAST = 0.015, 0.8, 3
"""Relative standard deviation of a throttle that stays; and the share of blocks, and their number,
in which it must be known."""

TREND_CORRELATION_MOST = 0.9
"""Highest correlation of neighbouring blocks about a trend that is believed."""
