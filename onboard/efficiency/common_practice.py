"""Thresholds and guesses that are neither derived nor published, and what each rests on.

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

BRIDGE_UNSEEN_S = 60.0
"""Gap length beyond which power may vary as much as over the whole trip [s]."""

BRIDGE_POWER_SD_FRACTION = 0.25
"""Standard deviation of the mean power of both sides as a guess for a gap, as a share of it, even
if power never changed before."""

BRIDGE_LINE_SD_FRACTION = 0.03
"""Standard deviation of a straight line as a guess for the way over a gap, as a share of it, even
where the speed on both sides agrees."""

VOLTS_MOST_V, AMPS_MOST_A, SPEED_MOST_MPS = 200.0, 1000.0, 40.0
"""Plausible limits of voltage [V], current [A] and speed [m/s], far above any craft of this size
(5 kW): a sample beyond them is a fault, not a reading."""

JUMP_MPS, JUMP_ACCELERATION_MPS2 = 3.0, 5.0
"""A velocity further than JUMP + ACCELERATION x time from the last good one is a fault of the
receiver [m/s, m/s^2]; one that stays is believed once that time has passed. Half of g is more than
any craft of this size reaches."""

NOISE_AT_FIRST_M2PS = 0.01
"""Long-run variance of the velocity noise before it is measured [m^2/s]: 0.05 m/s on each axis with
a memory of 2 s (S = 2 sd^2 memory). Receivers' data sheets state 0.05 m/s; the memory is common
practice, no source."""

NOISE_FEWEST = 8
"""Differences needed before the noise measured from them counts."""

NOISE_STRAIGHT_COS = 0.94
"""Cosine of the angle (20 degrees) within which the courses of three blocks are one course."""

REST_FOR_S, DRIFT_MPS = 60, 0.15
"""Displacement over REST_FOR [s] at rest counts as distance if faster than DRIFT [m/s]: a drift is
slow but lasting."""

LONE_A = 20.0
"""Step of the current below which no sample is suspect [A]: half a second of it is 0.1 Wh."""

LONE_SHORT_CIRCUIT_A = 5000.0
"""More than any pack of such a craft delivers into a short circuit at its monitor [A]. So a current
sags the voltage by at least its share of this, until more is known."""

LONE_FOLLOWS_FRACTION = 0.25
"""Share of the expected sag by which a voltage must move to follow the current; one that moves by
more than this may still be smoothed, or read in coarse steps."""

LONE_FOLLOWED_LEAST = 3
"""Steps of `LONE_A` that the voltage must have followed before it is known to follow, and by how
much."""

LONE_BEYOND_FRACTION, LONE_BEYOND_UNPROVEN_FRACTION, LONE_BEYOND_UNPROVEN_A = 0.5, 2.0, 100.0
"""How far above the range of current shown so far a lone sample lies, in parts of that range: where
the voltage is known to follow (and at least `LONE_A`), and where it is not (and at least so many
amperes). Below the range `LONE_A` is enough: nothing charges a pack for one sample."""

LONE_LEAP_FRACTION, LONE_STILL_A, LONE_STILL_FRACTION = 0.2, 1.0, 0.1
"""A voltage leaps by this share; a current stands still if it changes by less than either of the
others."""

LONE_VOLTS_LOW_FRACTION, LONE_VOLTS_HIGH_FRACTION = 0.5, 1.5
"""No load halves the voltage for one sample, and none that ends raises it by half."""

LONE_BACK_FRACTION = 0.25
"""The next sample is back where it was before if no further off than this share of the way out."""

CHOICE_S = 10.0
"""Interval between decisions about which sources count [s]."""

BRIEF_S = 10.0
"""A source is brief until it has covered this much time [s], or half of what another has: two that
begin together both count at once."""

SILENT_S = 10.0
"""A source not seen for this long [s] while others of its kind are active is silent: twice the time
after which a reading is stale."""

CARRIED_FRACTION = 0.05
"""A source that carried less than this share of the energy since it was first seen may fall silent:
no more is lost than a current sensor's gain is commonly uncertain by."""

NOTICE_S = 300.0
"""How long the alert stays that a source was left out as brief, or joined late [s]."""

# -- sources --

STALE_READING_S = 5.0
"""A reading older than this is not quoted as 'now' [s]."""

LAG_S = 20.0
"""A source this far behind the newest sample is not waited for [s]."""

WHOLE_SECOND_S = 0.99
"""A second measured for less than this lies in a gap [s]."""

PACKS_MOST, MOTORS_MOST = 16, 16
"""More battery instances or motors than this on one craft is a fault in the stream."""

PACK_COVERAGE_FRACTION = 0.9
"""The packs' own messages are preferred unless they cover less than this share of the time that the
autopilot's summary covers."""

SPEED_COVERAGE_FRACTION = 0.5
"""A speed source is passed over for one further down the list only if it covers less than this
share of that one's time. Not sooner: what the others report while the receiver has no fix is a
guess, often zero, and a bridged gap is at least counted as one."""

SPEED_SD_MOST_MPS = 1.0
"""A speed that the receiver itself states to be worse than this is as good as none [m/s]."""

STRAY_S = 60.0
"""A source seen again and again for longer than this is slow, not stray [s]."""

# -- trip --

HARDLY_MOVED_M = 20.0
"""A trip's Wh/km is not quoted below this distance [m]."""

WINDOW_LEAST_S = 5.0
"""A window that holds less time than this is not quoted [s]."""
