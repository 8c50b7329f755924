"""Why something is unknown: one row for each reason, with its values. The viewer words them."""

from onboard.contract.codes import Code


class Reason(Code):
    """Why something is unknown."""

    # The instruments.
    NO_AUTOPILOT = "no_autopilot", "no autopilot has been heard yet"
    NOT_HEARD = "not_heard", "this instrument has not been heard yet"
    QUIET = "quiet", "this instrument has not been heard for a while", "age_s"
    SAYS_UNKNOWN = "says_unknown", "the autopilot reports it as unknown"
    NO_POWER_MONITOR = "no_power_monitor", "no power monitor has been heard yet"
    NO_VOLTAGE = "no_voltage", "the power monitor reports no voltage"
    NO_CURRENT = "no_current", "the power monitor reports no current"
    POWER_QUIET = "power_quiet", "battery power has not been heard for a while", "source", "age_s"
    SOURCE_UNHEARD = (
        "source_unheard", "what a source of power gives is not known, as it is not heard",
        "source", "age_s",
    )  # fmt: skip
    SOURCES_SILENT = "sources_silent", "sources of power that count fell silent", "sources"
    NO_GPS = "no_gps", "no GPS has been heard yet"
    NO_FIX = "no_fix", "the GPS has no fix"
    NO_SPEED_REPORTED = "no_speed_reported", "the GPS has a fix, but reports no speed"
    SPEED_QUIET = "speed_quiet", "speed has not been heard for a while", "source", "age_s"
    NO_POSITION = "no_position", "no position is known yet"
    NO_DRIVE = "no_drive", "no motor drive has been heard"
    MOTOR_QUIET = "motor_quiet", "the motor shown has not been heard for a while", "motor", "age_s"
    NO_POLE_PAIRS = "no_pole_pairs", "the profile lacks drive.pole_pairs"
    CLOCK_NOT_SET = "clock_not_set", "the autopilot's clock is not set"
    NO_SYSTEM = "no_system", "an on-board log names no MAVLink system"
    COUNTING = "counting", "messages are still being counted"

    # The daemon.
    READING_RECORD = "reading_record", "the last record is still being read"
    WORKING_AGAIN = (
        "working_again",
        "it is being worked out again from the record after a program fault",
    )
    GIVEN_UP = "given_up", "given up after repeated program faults"
    PROGRAM_FAULT = "program_fault", "there was a program fault"
    LEFT_OUT = "left_out", "left out after a program fault"
    NOT_FINITE = "not_finite", "it is not a finite number"

    # Trip and windows.
    TOO_LITTLE_DATA = "too_little_data", "too little data"
    HARDLY_MOVING = "hardly_moving", "the craft hardly moves"
    HARDLY_MOVED = "hardly_moved", "the craft has hardly moved yet"
    NOT_TOGETHER = "not_together", "power and speed are not known over the same time"
    NO_TIME = "no_time", "no time has passed yet"
    NO_MARK = "no_mark", "no mark is set"
    NOTHING_COUNTED_YET = "nothing_counted_yet", "nothing has been counted yet"
    NOTHING_COUNTED = "nothing_counted", "nothing was counted"
    NO_COURSE = "no_course", "no course is made good"

    # The battery.
    NO_BATTERY = "no_battery", "the craft profile has no [battery]"
    NO_RESISTANCE = (
        "no_resistance",
        "the profile states no resistance and the current has not changed enough",
    )
    TOO_LITTLE_RIDING = "too_little_riding", "too little riding"
    NO_ENERGY_DRAWN = "no_energy_drawn", "no energy is being drawn"
    HARDLY_DRAWING = "hardly_drawing", "almost no power is drawn"
    NOTHING_LEFT = "nothing_left", "nothing is left above the reserve"

    # Curve, water, steady riding.
    NO_CURVE = "no_curve", "no speed-power curve yet"
    NO_STEADY_STRETCH = "no_steady_stretch", "no steady stretch has been ridden"
    TOO_FEW_STRETCHES = "too_few_stretches", "too few steady stretches have been ridden"
    NOT_STEADY = "not_steady", "power, speed or course is changing"
    TOO_FEW_PIECES = "too_few_pieces", "the steady stretch is too short to show its scatter"
    COURSES_UNDETERMINED = "courses_undetermined", "the courses ridden do not determine it"
    NEEDS_OTHER_COURSES = (
        "needs_other_courses", "it needs steady stretches on other courses at similar power"
    )  # fmt: skip
    NO_PROGRESS = "no_progress", "no speed tried makes way against the water current"
    NO_SPEED_ON_COURSE = "no_speed_on_course", "no speed is known to make way on this course"
    NOT_LEARNED_THERE = "not_learned_there", "the curve was not learned at that speed"

    # Target and way home.
    NO_TARGET = "no_target", "no target is set"
    NO_DISTANCE_TARGET = "no_distance_target", "no target distance is set"
    CANNOT_BE_MADE = "cannot_be_made", "the distance cannot be made at any speed"
    DISTANCE_MADE = "distance_made", "the distance is made"
    NOT_KNOWN_LATELY = "not_known_lately", "too little of it was known over the last seconds"
    AT_REST = "at_rest", "the craft is at rest"

    # The viewer.
    NO_DATA = "no_data", "the viewer has no data yet"
    NOT_STATED = "not_stated", "the daemon states neither value nor reason"
    NEWER = "newer", "the daemon gives a reason that this viewer does not know", "name"

    # Comparison.
    ONE_DOUBLE_RUN = "one_double_run", "one double run does not show how well it repeats"
    ONE_EACH = "one_each", "one double run of each does not show how well it repeats"
    NEVER_TOGETHER = "never_together", "they were never run on the same outing"
    TOO_FEW_DOUBLE_RUNS = "too_few_double_runs", "there are too few double runs for a verdict"
    DRIFT_POSSIBLE = "drift_possible", "the difference may be drift"
    BY_CHANCE = "by_chance", "one of so many comparisons may look like this by chance"
    NO_RUN_BACK = "no_run_back", "no run back followed"
    OTHER_SETUP_NEXT = "other_setup_next", "the next run had another set-up"
    RUN_BACK_LATE = "run_back_late", "the run back came too late"
    NOT_OPPOSITE = "not_opposite", "the next run was not on the opposite course"
    OTHER_POWER_NEXT = "other_power_next", "the next run was at another power"
    NO_DOUBLE_RUN = (
        "no_double_run",
        "there is no double run",
        "reasons",
    )

    # Reconciliation.
    AH_AT_WALL = "ah_at_wall", "ampere-hours at the wall are not those of the pack"
    METER_NOT_READ = "meter_not_read", "the meter was not read for it"
    NOTHING_TO_CHANGE = "nothing_to_change", "the error is too small to tell"
    BACK_FITS = "back_fits", "what came back matches what was counted, as closely as can be told"
    TOO_UNCERTAIN = "too_uncertain", "the uncertainty is too large"
    METER_AT_WALL = "meter_at_wall", "a meter at the wall never corrects a sensor"
    NEEDS_AH = "needs_ah", "only ampere-hours test the current sensor"
    NOT_FULL_TO_FULL = "not_full_to_full", "not known to have been full before and after"
    NO_PACK_SIZE = "no_pack_size", "the profile has no [battery], so the share used is not known"
    TOO_LITTLE_USED = "too_little_used", "too little of the pack was used", "used_fraction"
    ONLY_ZERO = "only_zero", "all that was counted is the sensor's zero"
    NO_SENSORS_ERROR = (
        "no_sensors_error", "what came back is too far off for any sensor's error",
        "times",
    )  # fmt: skip
    CHARGES_CONTRADICT = "charges_contradict", "the charges contradict each other"
    SCALE_ALONE = (
        "scale_alone",
        "telling scale from zero takes more charges, with mean currents further apart",
        "charges", "times",
    )  # fmt: skip

    # Planning.
    NO_WAY_MADE = "no_way_made", "no speed tried makes way against this water current"

    # Saved records.
    NOT_READ = "not_read", "the record cannot be read, or has not been"
    NO_DATE = "no_date", "no clock was set in the record"
    KNOWN_IN_NONE = "known_in_none", "it is not known in any of the records"
    TOGETHER_IN_NONE = (
        "together_in_none", "no record has energy and distance over the same time"
    )  # fmt: skip
    HARDLY_MOVED_IN_ANY = "hardly_moved_in_any", "the craft hardly moved in any of the records"
