"""Why something is unknown: one row for each reason."""

from onboard.contract.codes import Code


class Reason(Code):
    """Why something is unknown."""

    # The instruments.
    NO_AUTOPILOT = "no_autopilot", "no autopilot heard yet", "no autopilot has been heard yet"
    NOT_HEARD = "not_heard", "not heard yet", "this instrument has not been heard yet"
    QUIET = "quiet", "nothing for {age_s}", "this instrument has not been heard for a while"
    SAYS_UNKNOWN = (
        "says_unknown",
        "the autopilot does not know it",
        "the autopilot reports it as unknown",
    )
    NO_POWER_MONITOR = (
        "no_power_monitor",
        "no power monitor heard yet",
        "no power monitor has been heard yet",
    )
    NO_VOLTAGE = "no_voltage", "the power monitor reports no voltage"
    NO_CURRENT = "no_current", "the power monitor reports no current"
    POWER_QUIET = (
        "power_quiet",
        "no power from {source} for {age_s}",
        "battery power has not been heard for a while",
    )
    SOURCE_UNHEARD = (
        "source_unheard",
        "what {source} gives is not known: not heard for {age_s}",
        "what a source of power gives is not known, as it is not heard",
    )
    SOURCES_SILENT = (
        "sources_silent",
        "what {sources} gives is not known: no longer heard",
        "sources of power that count fell silent",
    )
    NO_GPS = "no_gps", "no GPS heard yet", "no GPS has been heard yet"
    NO_FIX = "no_fix", "no GPS fix", "the GPS has no fix"
    NO_SPEED_REPORTED = (
        "no_speed_reported",
        "no speed reported",
        "the GPS has a fix, but reports no speed",
    )
    SPEED_QUIET = (
        "speed_quiet",
        "no speed from {source} for {age_s}",
        "speed has not been heard for a while",
    )
    NO_POSITION = "no_position", "no position yet", "no position is known yet"
    NO_DRIVE = "no_drive", "no motor drive heard", "no motor drive has been heard"
    MOTOR_QUIET = (
        "motor_quiet",
        "motor {motor} not heard for {age_s}",
        "the motor shown has not been heard for a while",
    )
    NO_POLE_PAIRS = (
        "no_pole_pairs",
        "no drive.pole_pairs in the craft profile",
        "the profile lacks drive.pole_pairs",
    )
    CLOCK_NOT_SET = "clock_not_set", "the autopilot's clock is not set"
    NO_SYSTEM = (
        "no_system",
        "an on-board log names no system",
        "an on-board log names no MAVLink system",
    )
    COUNTING = "counting", "still counting", "messages are still being counted"

    # A saved log, which will say no more.
    NOT_IN_LOG = "not_in_log", "not in this log", "this instrument is not in the log"
    NO_AUTOPILOT_IN_LOG = "no_autopilot_in_log", "no autopilot in this log"
    NO_POWER_MONITOR_IN_LOG = "no_power_monitor_in_log", "no power monitor in this log"
    NO_GPS_IN_LOG = "no_gps_in_log", "no GPS in this log"
    NO_POSITION_IN_LOG = "no_position_in_log", "no position in this log"
    CURRENT_DEAD = (
        "current_dead",
        "the power monitor says 0.00 A all along",
        "the power monitor says 0.00 A all along, though the craft moved",
    )

    # The coach.
    NO_TRIAL = "no_trial", "no trial set"
    NOT_RECKONED = "not_reckoned", "not worked out yet"
    NOT_RECORDED = "not_recorded", "no record is kept"
    RECKONING_FAILED = "reckoning_failed", "working it out failed: compare the runs at home"

    # The daemon.
    READING_RECORD = "reading_record", "the last record is still being read"
    WORKING_AGAIN = (
        "working_again",
        "program fault: being worked out again from the record",
        "it is being worked out again from the record after a program fault",
    )
    GIVEN_UP = (
        "given_up",
        "given up after repeated program faults: see the daemon's log",
        "given up after repeated program faults",
    )
    PROGRAM_FAULT = (
        "program_fault",
        "program fault: see the daemon's log",
        "there was a program fault",
    )
    LEFT_OUT = (
        "left_out",
        "left out after a program fault: see the daemon's log",
        "left out after a program fault",
    )
    NOT_FINITE = "not_finite", "not a finite number", "it is not a finite number"

    # Trip and windows.
    TOO_LITTLE_DATA = "too_little_data", "too little data"
    HARDLY_MOVING = "hardly_moving", "hardly moving"
    HARDLY_MOVED = "hardly_moved", "hardly moved yet"
    NOT_TOGETHER = "not_together", "power and speed are not known over the same time"
    NO_TIME = "no_time", "no time has passed yet"
    NO_MARK = "no_mark", "no mark set"
    NOTHING_COUNTED_YET = "nothing_counted_yet", "nothing counted yet"
    NOTHING_COUNTED = "nothing_counted", "nothing was counted"
    NO_COURSE = "no_course", "no course made good"

    # The battery.
    NO_BATTERY = "no_battery", "no [battery] in the craft profile"
    NO_RESISTANCE = (
        "no_resistance",
        "the profile states none and the current has not changed enough",
    )
    TOO_LITTLE_RIDING = "too_little_riding", "too little riding"
    NO_ENERGY_DRAWN = "no_energy_drawn", "no energy is being drawn"
    HARDLY_DRAWING = "hardly_drawing", "drawing almost no power"
    NOTHING_LEFT = "nothing_left", "nothing is left above the reserve"

    # Curve, water, steady riding.
    NO_CURVE = "no_curve", "no curve yet"
    NO_STEADY_STRETCH = "no_steady_stretch", "no steady stretch of half a minute"
    TOO_FEW_STRETCHES = "too_few_stretches", "too few steady stretches"
    NOT_STEADY = "not_steady", "power, speed or course is changing"
    TOO_FEW_PIECES = "too_few_pieces", "not steady for long enough"
    COURSES_UNDETERMINED = "courses_undetermined", "the courses ridden do not show it"
    NEEDS_OTHER_COURSES = (
        "needs_other_courses",
        "needs steady stretches on other courses at similar power",
    )
    NO_PROGRESS = "no_progress", "no speed tried makes way against the water current"
    NO_SPEED_ON_COURSE = "no_speed_on_course", "no speed is known to make way on this course"
    NOT_LEARNED_THERE = "not_learned_there", "the curve was not learned at that speed"

    # Target and way home.
    NO_TARGET = "no_target", "no target set"
    NO_DISTANCE_TARGET = "no_distance_target", "no target distance set"
    CANNOT_BE_MADE = "cannot_be_made", "the distance is in doubt at any speed tried"
    DISTANCE_MADE = "distance_made", "the distance is made"
    NOT_KNOWN_LATELY = "not_known_lately", "too few readings in the last few seconds"
    AT_REST = "at_rest", "at rest"

    # The viewer.
    NO_DATA = "no_data", "no data yet"
    NOT_STATED = "not_stated", "no reason given", "the daemon states neither value nor reason"
    NEWER = (
        "newer",
        "a reason that this viewer does not know: {name}",
        "the daemon gives a reason that this viewer does not know",
    )

    # Comparison.
    ONE_SETUP = "one_setup", "runs of one set-up only"
    NEVER_TOGETHER = "never_together", "they were never run on the same outing"
    TOO_FEW_DOUBLE_RUNS = "too_few_double_runs", "too few double runs"
    DRIFT_POSSIBLE = (
        "drift_possible",
        "all runs of one came before all of the other, so the difference may be a step or drift",
    )
    BY_CHANCE = "by_chance", "with so many comparisons, one may well look like this by chance"
    NO_RUN_BACK = "no_run_back", "no run back followed"
    OTHER_SETUP_NEXT = "other_setup_next", "the next run had another set-up"
    RUN_BACK_LATE = "run_back_late", "the run back came too late"
    NOT_OPPOSITE = "not_opposite", "the next run was not on the opposite course"
    OTHER_POWER_NEXT = "other_power_next", "the next run was at another power"
    NO_DOUBLE_RUN = "no_double_run", "no double run ({reasons})", "there is no double run"

    # Reconciliation.
    AH_AT_WALL = "ah_at_wall", "the meter was at the wall: ampere-hours there are not the pack's"
    METER_NOT_READ = "meter_not_read", "the meter was not read for it"
    NOTHING_TO_CHANGE = "nothing_to_change", "no error large enough to tell: nothing to change"
    BACK_FITS = "back_fits", "what came back matches what was counted, as closely as can be told"
    TOO_UNCERTAIN = "too_uncertain", "the uncertainty is too large against what was drawn"
    METER_AT_WALL = (
        "meter_at_wall",
        "a meter at the wall measures the charger's losses too: it never corrects a sensor",
    )
    NEEDS_AH = "needs_ah", "only ampere-hours test the current sensor: give --charged-ah"
    NOT_FULL_TO_FULL = (
        "not_full_to_full",
        "not known to have been full before and after: mark 'charged full', or give --full-to-full",
    )
    NO_PACK_SIZE = "no_pack_size", "no [battery] in the profile: what share was used is not known"
    TOO_LITTLE_USED = (
        "too_little_used",
        "{used_fraction} of the pack was used: at least half is needed",
        "too little of the pack was used",
    )
    ONLY_ZERO = (
        "only_zero",
        "the sensor itself reported no current: all that was counted is its zero",
    )
    NO_SENSORS_ERROR = (
        "no_sensors_error",
        "{times} times what was counted came back: no sensor is that far off",
        "what came back is too far off for any sensor's error",
    )
    CHARGES_CONTRADICT = (
        "charges_contradict",
        "the charges contradict each other by more than chance: one may not have been full, or "
        "something was drawn that is in no log",
    )
    SCALE_ALONE = (
        "scale_alone",
        "telling scale from zero takes at least {charges} charges, with mean currents that differ "
        "by a factor of {times}",
        "telling scale from zero takes more charges, with mean currents further apart",
    )

    # Planning.
    NO_WAY_MADE = "no_way_made", "no speed tried makes way against this water current"

    # Saved records.
    NOT_READ = "not_read", "its record cannot be read"
    NO_DATE = "no_date", "no clock was set in this record"
    KNOWN_IN_NONE = "known_in_none", "not known in any of the records"
    TOGETHER_IN_NONE = "together_in_none", "no record has power and speed over the same time"
    HARDLY_MOVED_IN_ANY = "hardly_moved_in_any", "hardly moved in any of them"
