"""Constants of a trial without a source: common practice of those who run trials.

Each states what it rests on. SI units.
"""

RECIPROCAL_DEG, SAME_POWER_FRACTION, LEGS_APART_MOST_S = 25.0, 0.1, 1800.0
"""Two legs make a double run if their courses are opposite to within the first (the water sets a
craft off its heading), their powers differ by no more than the second in ln P, and no more than the
third lies between them, since the water may change meanwhile."""

OUTING_GAP_S = 3.0 * 3600.0
"""Pause that separates two outings, between which water, wind and charge change [s]."""

INPUT_CURRENT_FRACTION, NEAR_INPUT_FRACTION, STEADY_SHARE_FRACTION = 0.03, 0.15, 0.06
"""A drive whose current equals the battery's to within the first reports its input, not its motor:
the motor's is larger by one over the duty. So does one within the second if the ratio hardly varies
(10th to 90th percentile): two sensors differ by a few per cent, a duty changes with the rpm."""

DRIVE_EFFICIENCY_FRACTION = 0.96
"""Efficiency of a drive that does not report its motor's current."""

DOUBLE_RUN_SD_FRACTION, LEG_SD_FRACTION, REPEATABILITY_WORTH = 0.012, 0.015, 4.0
"""Usual relative standard deviation of a double run and of a leg of a small craft, and how many
degrees of freedom that guess is worth in the outlier test."""

LAP_SD_FRACTION, SCATTER_WORTH = 0.015, 2.0
"""Usual relative standard deviation of a lap; and how many degrees of freedom the usual scatter is
worth beside the day's own: few, as days differ by a factor of two."""

OUTLIER_SIGNIFICANCE, OUTLIER_DOUBLE_RUNS_LEAST, OUTLIERS_MOST_FRACTION = 0.01, 4, 0.15
"""Probability of a false outlier in the whole trial; fewest double runs to test (of two that differ
either could be the outlier); largest share that may be left out."""

LEG_NOISE_FRACTION, LEG_NOISE_WORTH = 0.01, 2.0
"""Repeatability of a leg's speed, and how many degrees of freedom that guess is worth when the
water is fitted."""

LEG_NOISE_MPS, WATER_ACROSS_SD_MPS = 0.02, 0.2
"""The same as a speed, and the usual water current across the courses, about which runs on one
line say nothing."""

WATER_LINEAR_FROM, WATER_QUADRATIC_FROM = 3, 6
"""Double runs of an outing from which the water may change linearly, and quadratically."""

WATER_CHANGE_SIGNIFICANCE, WATER_CHANGE_FRACTION, WATER_RESTLESS_FRACTION = 0.01, 0.02, 0.03
"""The water changed if the p-value is below the first and the change exceeds the second share of
the speed; it is restless, as in gusts, if legs scatter about it by more than the last."""

DRIFT_TERM_SIGNIFICANCE, DRIFT_IN_BLOCKS_SIGNIFICANCE, ORDER_BALANCED_MOST = 0.01, 0.05, 1.15
"""A drift enters the model if its p-value is below the first, as it costs a degree of freedom; or
below the second if set-ups were run one after the other; and always where it would inflate a
difference's variance by more than the third factor."""

STEP_SD_FRACTION, STEP_SHARE_MOST = 0.035, 0.6
"""Usual step in Wh/km (standard deviation) where the set-up is changed once and for all: a fresh
charge, another trim, the wind after a break. It is allowed for where more than this share of it
would pass for a difference."""

UNEQUAL_SCATTER_SIGNIFICANCE, VERDICT_SIGNIFICANCE, COACHED_SIGNIFICANCE = 0.005, 0.05, 0.015
"""Set-ups get their own variances (Welch) if the p-value of equal ones is below the first; a
difference is claimed if its p-value is below the second, or below the third if the runs were judged
after each round, and stopped when a difference showed: eight looks at this level are about one at
5 % (Pocock's constant for eight looks is 2.51; from memory)."""

SETUP_SYSTEMATIC_SD_FRACTION = 0.002
"""Systematic standard deviation of a difference; averaging does not reduce it: another trim,
another line through the waves."""

WANTED_FRACTION, WANTED_POWER = 0.03, 0.8
"""Difference in Wh/km worth detecting, and the statistical power aimed at, as is common in the
planning of experiments."""

POWER_APART_FRACTION, POWER_APART_QUANTILE, POWER_SET_SD_FRACTION = 0.02, 0.998, 0.01
"""Set-ups were run at unlike power if it differs by more than the first, and by more than the
scatter of their legs explains at this quantile of Student's t. The last is how well power is
usually set by hand, and counts as much as the usual repeatability."""

POWER_SCATTER_FRACTION, POWER_DRIFT_FRACTION, POWER_SWING_FRACTION = 0.03, 0.05, 0.05
"""Limits of power held constant: from leg to leg, over a leg, within a leg."""

AMPS_APART_FRACTION, AMPS_APART_SHARE, AMPS_STILL_FRACTION = 0.004, 0.1, 0.004
"""Motor current was held if set-ups differ in it by no more than the first and this share of their
difference in power; and if it scatters from leg to leg less than power does, or hardly at all.
Equal currents alone may be chance."""

VOLTS_APART_FRACTION, PACK_APART_DEGC, DRIVE_APART_DEGC = 0.02, 5.0, 10.0
"""2 % of voltage is a fifth of an LFP pack's charge or more. Ten degrees are 4 % of the resistance
of a copper winding, and so about half a per cent of the power."""

CRUISE_FAR_FRACTION = 0.3
"""Greatest distance of a cruising speed from the speed run, as a share of it, over which the slope
is extrapolated: about a factor of two and a half in power."""

CURVE_NEAR_FRACTION, CURVE_APART_FRACTION = 0.15, 0.25
"""A set-up was ridden at the power of a cruise if several steady stretches are within the first of
it, in ln P, and that is further than the second from the power of its runs, about which single
stretches scatter."""
