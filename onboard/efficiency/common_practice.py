"""Thresholds and guesses that are neither derived nor published, and the basis of each.

Derived and sourced constants stay beside their formula; thresholds of steadiness stand in
`meters/steadiness.py`. Where a docstring names no evidence, the value is common practice, without a
source. Imports nothing.
"""

# -- statistics --

REJECTED_MOST_FRACTION = 0.1
"""Largest share of residuals that may be rejected as outliers."""

# -- meters --

GAP_S = 5.0
"""A step between two samples longer than this is a gap [s]: it covers no time, ends a stretch under
way, and is bridged. A rider's power can change within seconds, and autopilots send battery data at
1 Hz or more."""

BRIDGE_UNSEEN_S, BRIDGE_POWER_SD_FRACTION, BRIDGE_LINE_SD_FRACTION = 60.0, 0.25, 0.03
"""Gap length beyond which power may vary as much as over the whole trip [s]; least relative
standard deviations of the mean power of both sides as an estimate for a gap, even if power never
changed before, and of a straight line as an estimate for the track, even if both speeds agree."""

VOLTS_MOST_V, AMPS_MOST_A, SPEED_MOST_MPS = 200.0, 1000.0, 40.0
"""Plausible limits of voltage [V], current [A] and speed [m/s], far above any craft of this size
(5 kW): a sample beyond them is a fault, not a reading."""

JUMP_MPS, JUMP_ACCELERATION_MPS2 = 3.0, 5.0
"""A velocity further than JUMP + ACCELERATION x time from the last good one is a fault of the
receiver [m/s, m/s^2]; one that persists is accepted once that time has passed. Half of g is more
than any craft of this size reaches."""

NOISE_AT_FIRST_M2PS, NOISE_FEWEST, NOISE_STRAIGHT_COS = 0.01, 8, 0.94
"""Long-run variance of the velocity noise before it is measured [m^2/s]: 0.05 m/s on each axis, as
receivers' data sheets state, with a correlation time T of 2 s (S = 2 sd^2 T); differences needed
before it counts as measured; and the cosine of the angle (20 degrees) within which the courses of
three blocks are one course."""

REST_FOR_S, DRIFT_MPS = 60, 0.15
"""Displacement over this time at rest [s] counts as distance if faster than this [m/s]: a drift is
slow but sustained."""

LONE_A, LONE_SHORT_CIRCUIT_A = 20.0, 5000.0
"""Step of the current below which no sample is suspect: half a second of it is 0.1 Wh. And a bound
on the short-circuit current of such a craft's pack at its monitor: until more is known, a current
sags the voltage by at least its share of this [A]."""

LONE_FOLLOWS_FRACTION, LONE_FOLLOWED_LEAST = 0.25, 3
"""Share of the expected sag by which a voltage must move to follow the current (it may be smoothed,
or read in coarse steps); and steps of `LONE_A` that it must have followed before its response is
known."""

LONE_BEYOND_FRACTION, LONE_BEYOND_UNPROVEN_FRACTION, LONE_BEYOND_UNPROVEN_A = 0.5, 2.0, 100.0
"""Least excess of a lone sample over the range of current shown so far, as a share of that range:
where the voltage is known to follow (and at least `LONE_A`), and where it is not (and at least this
[A]). Below the range `LONE_A` is enough: nothing charges a pack for one sample."""

LONE_LEAP_FRACTION, LONE_STILL_A, LONE_STILL_FRACTION = 0.2, 1.0, 0.1
"""A voltage jumps by at least this share; a current stands still if it changes by less than either
of the others."""

LONE_VOLTS_LOW_FRACTION, LONE_VOLTS_HIGH_FRACTION, LONE_BACK_FRACTION = 0.5, 1.5, 0.25
"""No load halves the voltage for one sample, and no end of a load raises it by half. The next
sample is back if its distance from the level before is at most the third share of the excursion."""

# -- sources --

CHOICE_S, BRIEF_S, SILENT_S, NOTICE_S = 10.0, 10.0, 10.0, 300.0
"""Interval between decisions about which sources count. Time that a source must cover not to be
brief (or half of another's: two that begin together both count at once). Time without a sample,
while others of its kind are active, after which it is silent: twice that of a stale reading. And
duration of the alert that a source was left out as brief, or joined late [s]."""

CARRIED_FRACTION = 0.05
"""A source that carried less than this share of the energy since it was first seen may fall silent:
the loss is within the usual uncertainty of a current sensor's gain."""

STALE_READING_S, LAG_S, WHOLE_SECOND_S = 5.0, 20.0, 0.99
"""Age above which a reading is not quoted as 'now'; longest wait for a source that lags behind the
newest sample; and measured time below which a second lies in a gap [s]."""

PACKS_MOST, MOTORS_MOST = 16, 16
"""More battery instances or motors than this on one craft is a fault in the stream."""

PACK_COVERAGE_FRACTION, SPEED_COVERAGE_FRACTION = 0.9, 0.5
"""Least share of another source's time that a preferred one must cover: the packs' own messages
against the autopilot's summary, a speed source against one further down the list. The latter is
low: without a fix of the receiver the others report guesses, often zero, while a bridged gap is at
least counted as one."""

SPEED_SD_MOST_MPS, STRAY_S = 1.0, 60.0
"""A speed with a larger standard deviation, as stated by the receiver, is worthless [m/s]; and a
source seen repeatedly over more than this time is slow, not stray [s]."""

# -- trip --

HARDLY_MOVED_M, WINDOW_LEAST_S = 20.0, 5.0
"""No Wh/km is quoted for a trip shorter than this [m], or a window with less data than this [s]."""

# -- battery --

METER_SD_FRACTION = 0.01
"""Standard deviation of a plain energy meter between charger and pack, relative."""

FULL_SD_FRACTION = 0.005
"""Standard deviation of 'full' from one charge to the next, as a share of the pack."""

UNLOGGED_MOST_FRACTION = 0.01
"""Largest unrecorded charge that autopilot and sleeping drives draw between two charges unless
stated, as a share of the pack."""

ASSUMED_PACK_OVER_COUNTED = 4.0
"""Assumed size of a pack of unknown size, over the charge counted."""

CONCLUSIVE_MOST_FRACTION = 0.15
"""Relative half width of an expectation beyond which agreement is inconclusive: a sensor with as
large an error would pass."""

ONE_MODEL_SPREAD_FRACTION = 0.4
"""Standard deviation of real cells' loss about that of a single model, relative. The one LFP model
loses more at higher rates than data sheets state; makers' figures of 3 to 5 % and of 8 % lie within
two of these."""

WIRING_FRACTION = 0.005
"""Loss between charger and cells in addition to the cells' own, and its standard deviation."""

USUAL_DISCHARGE_PER_H, USUAL_CHARGE_PER_H = (0.2, 1.0), (0.1, 0.5)
"""Range of rates where none is stated, as shares of the capacity per hour."""

QUICK_LAG_S, LASTING_LAG_S = 2, 60
"""Lags of voltage differences that show immediate resistance, and that to a sustained load [s]."""

CELL_OHM_AH = 0.1
"""Resistance of a cell times its capacity, wiring included, until measured [ohm Ah]."""

USUAL_OHM_SD_FRACTION, STATED_OHM_SD_FRACTION = 0.6, 0.2
"""Relative standard deviation of the resistance guessed from the capacity, and of a stated one: it
changes with temperature and age."""

LASTING_OVER_QUICK, LASTING_SD_FRACTION = 1.3, 0.3
"""Ratio of the resistance to a sustained load to the immediate one until measured, and the relative
standard deviation of that guess."""

CURRENT_STEP_LEAST_A = 1.0
"""Smallest change of current that stands out from noise and rounding [A]."""

RESISTANCE_MEMORY = 900.0
"""Time constant of the exponential forgetting, in informative seconds: the pack warms."""

RESISTANCE_STEPS_LEAST = 10
"""Steps before a resistance is estimated. The first ones are judged together, by their medians: a
glitch among them must not become the standard for all later ones."""

RESISTANCE_OUTLIER_SD, VOLTAGE_STEP_NOISE_V = 5.0, 0.02
"""Residual beyond which a step is an outlier, in standard deviations; and the noise of a voltage
difference until it is estimated [V]."""

REST_CURRENT_PER_H = 0.04
"""Current up to which a pack is at rest (C/25), as a share of the capacity per hour: instruments
and lights, which some craft cannot switch off. The caller allows for the voltage it costs."""

REST_GAP_MOST_S, REST_AFTER_LOAD_S, POWER_ON_REST_S, REST_MEAN_S = 10.0, 180.0, 10, 30
"""A longer silence may hide a load; time to settle after a load; readings needed at power-on, when
the pack counts as rested because no ride preceded; and the span averaged [s]."""

POWER_ON_REST_SD_V, LONG_REST_SD_V, AFTER_LOAD_SD_V, RELAXATION_S = 0.008, 0.004, 0.02, 600.0
"""Standard deviation of a cell's voltage about its settled value: at power-on, after hours, and
right after a load, which decays with the time constant [V, s]."""

OCV_CONTRADICTION_SD, CONTRADICTED_CHARGE_SD = 4.0, 0.3
"""Innovation beyond which a rested voltage contradicts the count, in standard deviations; and the
standard deviation of the state of charge from then on."""

OCV_SHAPE_FACTOR = 1.6
"""Factor on the spread of the OCV curve between cells. A cell that differs from the curve biases
the result twice: by its voltage now, and by the energy read off the curve for the charge left."""

CHARGE_QUESTION_AFTER_S, CHARGE_QUESTION_FROM_S = 600.0, 20.0
"""Shortest absence after which the rider is asked whether the pack was charged: a brown-out is over
in seconds, a check of the propeller in minutes; a charger at half the capacity per hour brings 8 %
in that time. And the stream time before which no question is raised: by then an autopilot that
knows the time of day has reported it [s]."""

UNSEEN_DRAIN_SD_FRACTION, UNSEEN_DRAIN_PER_H = 0.03, 0.5
"""Standard deviation of the charge drawn unmeasured: its limit as a share of full, and its growth
as a share per hour."""

CHARGED_FULL_SD, STATED_CHARGE_SD = 0.01, 0.03
"""Standard deviation of the state of charge after 'charged full', and of any other share shown by
a charger or a pack's own display."""

SHOWS_CHARGED_SD, SHOWS_NOT_CHARGED_SD, SHOWS_NOT_CHARGED_FRACTION = 3.0, 2.0, 0.5
"""A rested voltage shows that the pack was charged if it lies this many standard deviations above
the count; that it was not, if even its upper bound, the second number of standard deviations above
it, is at most the third share of the way from count to full. On an LFP plateau it shows neither."""

# -- curve --

LINE_GAP_DEG, LINE_WIDEST_DEG, LINE_PIECE_DEG = 2.5, 16.0, 8.0
"""Courses, opposite ones included, form one line if no gap between neighbours exceeds the first and
all lie within the second. Otherwise the track was curved, and they are cut into pieces of at most
the third."""

TURN_FULL_DEG, TURN_LEAST_DEG, TURN_LONGEST_S = 345.0, 240.0, 120
"""A turn is used at the first angle, or if it ends beyond the second; longest duration [s]."""

TURN_ENDED_S, TURN_ENDED_DEG, TURN_GAP_MOST_S, TURN_SHORTEST_S = 5, 8.0, 2.0, 12
"""A turn has ended when the course changes by less than this angle [deg] within this time [s];
longest gap in the data and fewest seconds."""

TURN_BACK_SHARE, TURN_POWER_FRACTION, TURN_SLOWEST_MPS = 0.15, 0.15, 0.5
"""Largest share of course changes in the opposite direction (at rest, noise alone turns the
course); largest relative standard deviation of power; lowest speed [m/s]."""

CIRCLE_MISFIT_FRACTION, CIRCLE_ROUGHNESS_MPS = 0.15, 0.03
"""Velocities whose misfit exceeds this share of the radius do not form a circle; and systematic
misfit of a turn's mean velocity, beyond its noise [m/s]."""

WATER_PRIOR_SD_MPS, WATER_USUAL_MPS = 0.3, 0.2
"""Standard deviation of each axis of the set and drift before it is known, wide on purpose; and its
usual size, where its square biases a figure [m/s]."""

BLOCK_SPEED_SD_MPS, BLOCK_SPEED_SD_WORTH = 0.025, 6.0
"""Standard deviation of a block's speed about the curve (noise, waves, gusts) until the residuals
determine it [m/s], and the weight of that guess in blocks."""

BLOCK_POWER_SD_FRACTION = 0.01
"""Relative standard deviation of a block's power in addition to its standard error."""

CURVE_SYSTEMATIC_SD = 0.005
"""Systematic standard deviation of ln w; averaging over the blocks of a ride does not reduce it."""

CRAB_SPEED_LEAST_FRACTION = 0.3
"""Least share of the speed through water left along the course when crabbing; the model is clipped
there, as the curve is not learned from such riding."""

BLOCK_OUTLIER_SD = 3.0
"""Normalised residual at which the cost of a block is capped when two fits are compared."""

WATER_CLAIM_SD_MPS, WATER_FLOOR_SD_MPS = 0.053, 0.03
"""A component of set and drift is shown only if its standard deviation is smaller than the first.
The second is the systematic part of each axis, mainly the leeway due to wind, which is not
measured: in simulated wind of 2 to 6 m/s it is of this order or twice it."""

THROUGH_WATER_SD_MPS, CURVE_BLOCKS_LEAST = 0.06, 3
"""The curve is shown against speed through water only if the water along the courses ridden is
known this well [m/s]; and shown only from this number of blocks."""

PLANNED_SLOWEST_MPS, WAY_LEAST_MPS = 0.5, 0.02
"""Lowest speed over ground worth planning; and that below which there is no progress [m/s]."""

DAY_SPEED_SD_FRACTION, DAY_SHAPE_SD_FRACTION = 0.015, 0.01
"""Standard deviation from one day to the next of the speed at a power: common to all speeds (load,
growth, wind), and of each alone. 1.5 % of speed is about 5 % of power."""

FOULED_EXCESS_FRACTION, FOULED_EXCESS_SD, FOULED_BLOCKS_LEAST = 0.12, 3.0, 3
"""Power is suspect if it exceeds the curve by both, relative and in standard deviations, so that an
ill-known curve does not look like weed; the propeller counts as fouled after this many blocks."""

FOULED_BLOCKS_MOST = 45
"""Blocks (15 minutes) after which the craft counts as changed: load, propeller, wind."""

FOULING_FIT_BLOCKS, FOULING_FIT_AGE_S, FOULING_RANGE_FRACTION = 9, 300.0, 0.05
"""Blocks that a curve must be based on to be tested against; allowance for the age of the last fit
[s]; and relative extension beyond the speeds seen."""

# -- advice --

ADVICE_EVERY_S, ADVICE_CALM_S = 10, 300
"""Interval between advice evaluations [s]: while an alert may be imminent, and at most."""

ADVICE_QUIET_SHARE, ADVICE_START_S, ADVICE_LEAST_W = 0.25, 120.0, 100.0
"""Share of the predicted quiet time to wait before re-evaluating; stream time until which it is
evaluated at the shortest interval, as much may still change [s]; and the power that even a craft
at rest may draw the next moment [W]."""

COURSE_MEAN_S, LEAVING_MEAN_S, CUE_MEAN_S, NOW_MEAN_S = 60, 20, 10, 5
"""Spans averaged [s]: for the course made good, for the present speed, for the cue (waves of a few
seconds average out, and a rider who corrects soon sees the effect), and to tell rest."""

COURSE_STEP_DEG = 15.0
"""Change of course up to which the best speed stays the same [deg]."""

WEATHER_SD_FRACTION = 0.03
"""Standard deviation of the power at a speed about the curve, lasting for the day: load, wind and
waves."""

WEATHER_AHEAD_SD_FRACTION, WEATHER_BUILDS_S = 0.05, 3600.0
"""Standard deviation of the mean consumption ahead about that so far, from wind and water that
change meanwhile, and the time in which it builds up [s]."""

WATER_WANDERS_S = 3600.0
"""Time after which the water's random walk stops growing: beyond an hour it is cyclic."""

UNTRIED_SPEED_FRACTION = 0.85
"""Lowest speed that may be advised, relative to the lowest speed seen: the curve then learns it."""

SURE_AGAIN_FRACTION = 0.993
"""Chance at which a distance counts as sure again, after it did not."""

EASE_ABOVE, EASE_UNTIL, PUSH_BELOW, PUSH_UNTIL = 0.03, 0.01, -0.05, -0.02
"""Relative difference from the target at which a cue appears and at which it disappears: riding too
fast is the costlier side."""

TURN_BACK_REACTION_S, TURN_BACK_OFF_FRACTION = 30.0, 0.02
"""Time that the craft continues outward until the advice is seen and it has turned [s]; and margin,
as a share of the energy needed, above which the advice is withdrawn."""

CRAWL_FRACTIONS = 0.8, 0.6
"""Lowest speed advised for the way home, relative to the speed ridden so far; the second if the
first does not suffice."""

AT_HOME_M, LEAVING_MPS = 30.0, 0.5
"""Distance within which the craft is home: fixes wander, and harbours have corners. And the speed
above which it is under way."""

UNDER_WAY_MPS, CURRENT_DEAD_A = 0.8, 0.05
"""At this speed [m/s] a drive draws more than this current [A]."""

CURRENT_STUCK_S, CURRENT_STUCK_VOLTS_FRACTION = 60, 0.003
"""A current that is constant for this time [s] while the voltage moves by this share is stuck."""

NEAR_CUTOFF_FACTOR, ENERGY_LOW_FRACTION, DRIVE_COOLER_DEGC = 1.03, 0.10, 5.0
"""Voltage over cut-off at which to warn; energy left at which to warn, as a share of full; and how
much cooler a hot drive must become."""

COUNTERS_APART_FRACTION, COUNTERS_APART_AH = 0.05, 0.1
"""The autopilot's charge counter disagrees if it is off by more than the sum of both."""

DRAWING_LEAST_W = 5.0
"""Mean power below which a time left would be days, and depend on the sensor's offset [W]."""
