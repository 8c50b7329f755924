"""Why something is unknown, in a few words that follow 'unknown' or 'no cue:'.

Those of a ride are said of live rides and of saved logs alike, so they give no advice: `mending`
does.
"""

from collections.abc import Mapping

from groundside.words.filling import Sentence, called, fill, written
from groundside.words.units import Units
from onboard.contract.codes import Value
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason


def reason_text(unknown: Unknown, units: Units) -> str:
    """Return a reason in words.

    Examples
    --------
    >>> from groundside.words.units import CHOICES
    >>> reason_text(Unknown(Reason.QUIET, age_s=75.0), CHOICES["km/h"])
    'nothing for 1 min 15 s'
    """
    return fill(REASONS[unknown.code], unknown, units)


def _from(what: str) -> Sentence:
    def sentence(values: Mapping[str, Value], units: Units) -> str:
        source = f"from {values['source']} " if values["source"] else ""
        return f"no {what} {source}for {written('age_s', values['age_s'], units)}"

    return sentence


def _no_double_run(values: Mapping[str, Value], units: Units) -> str:
    codes = values["reasons"]
    assert isinstance(codes, tuple)
    said = [reason_text(Unknown(Reason(str(code))), units) for code in codes]
    return f"no double run ({'; '.join(said)})"


BACK_FITS = "what came back matches what was counted, as closely as can be told"
TOO_UNCERTAIN = "the uncertainty is too large against what was drawn"
CHARGES_CONTRADICT = (
    "the charges contradict each other by more than chance: one may not have been full, or "
    "something was drawn that is in no log"
)
"""Said of a verdict too."""

REASONS: Mapping[Reason, Sentence] = {
    Reason.NO_AUTOPILOT: "no autopilot heard yet",
    Reason.NOT_HEARD: "not heard yet",
    Reason.QUIET: "nothing for {age_s}",
    Reason.SAYS_UNKNOWN: "the autopilot does not know it",
    Reason.NO_POWER_MONITOR: "no power monitor heard yet",
    Reason.NO_VOLTAGE: "the power monitor reports no voltage",
    Reason.NO_CURRENT: "the power monitor reports no current",
    Reason.POWER_QUIET: _from("power"),
    Reason.SOURCE_UNHEARD: lambda values, units: (
        f"what {called(values)} gives is not known: "
        f"not heard for {written('age_s', values['age_s'], units)}"
    ),
    Reason.SOURCES_SILENT: "what {sources} gives is not known: no longer heard",
    Reason.NO_GPS: "no GPS heard yet",
    Reason.NO_FIX: "no GPS fix",
    Reason.NO_SPEED_REPORTED: "no speed reported",
    Reason.SPEED_QUIET: _from("speed"),
    Reason.NO_POSITION: "no position yet",
    Reason.NO_DRIVE: "no motor drive heard",
    Reason.MOTOR_QUIET: "motor {motor} not heard for {age_s}",
    Reason.NO_POLE_PAIRS: "no drive.pole_pairs in the craft profile",
    Reason.CLOCK_NOT_SET: "the autopilot's clock is not set",
    Reason.NO_SYSTEM: "an on-board log names no system",
    Reason.COUNTING: "still counting",
    Reason.READING_RECORD: "the last record is still being read",
    Reason.WORKING_AGAIN: "program fault: being worked out again from the record",
    Reason.GIVEN_UP: "given up after repeated program faults: see the daemon's log",
    Reason.PROGRAM_FAULT: "program fault: see the daemon's log",
    Reason.LEFT_OUT: "left out after a program fault: see the daemon's log",
    Reason.NOT_FINITE: "not a finite number",
    Reason.TOO_LITTLE_DATA: "too little data",
    Reason.HARDLY_MOVING: "hardly moving",
    Reason.HARDLY_MOVED: "hardly moved yet",
    Reason.NOT_TOGETHER: "power and speed are not known over the same time",
    Reason.NO_TIME: "no time has passed yet",
    Reason.NO_MARK: "no mark set",
    Reason.NOTHING_COUNTED_YET: "nothing counted yet",
    Reason.NOTHING_COUNTED: "nothing was counted",
    Reason.NO_COURSE: "no course made good",
    Reason.NO_BATTERY: "no [battery] in the craft profile",
    Reason.NO_RESISTANCE: "the profile states none and the current has not changed enough",
    Reason.TOO_LITTLE_RIDING: "too little riding",
    Reason.NO_ENERGY_DRAWN: "no energy is being drawn",
    Reason.HARDLY_DRAWING: "drawing almost no power",
    Reason.NOTHING_LEFT: "nothing is left above the reserve",
    Reason.NO_CURVE: "no curve yet",
    Reason.NO_STEADY_STRETCH: "no steady stretch of half a minute",
    Reason.TOO_FEW_STRETCHES: "too few steady stretches",
    Reason.NOT_STEADY: "power, speed or course is changing",
    Reason.TOO_FEW_PIECES: "not steady for long enough",
    Reason.COURSES_UNDETERMINED: "the courses ridden do not show it",
    Reason.NEEDS_OTHER_COURSES: "needs steady stretches on other courses at similar power",
    Reason.NO_PROGRESS: "no speed tried makes way against the water current",
    Reason.NO_SPEED_ON_COURSE: "no speed is known to make way on this course",
    Reason.NOT_LEARNED_THERE: "the curve was not learned at that speed",
    Reason.NO_TARGET: "no target set",
    Reason.NO_DISTANCE_TARGET: "no target distance set",
    Reason.CANNOT_BE_MADE: "the distance cannot be made at any speed",
    Reason.DISTANCE_MADE: "the distance is made",
    Reason.NOT_KNOWN_LATELY: "too few readings in the last few seconds",
    Reason.AT_REST: "at rest",
    Reason.NO_DATA: "no data yet",
    Reason.NOT_STATED: "no reason given",
    Reason.NEWER: "a reason that this viewer does not know: {name}",
    # Comparison.
    Reason.ONE_DOUBLE_RUN: "one double run does not show how well it repeats",
    Reason.ONE_EACH: "one double run of each does not show how well it repeats",
    Reason.NEVER_TOGETHER: "they were never run on the same outing",
    Reason.TOO_FEW_DOUBLE_RUNS: "too few double runs",
    Reason.DRIFT_POSSIBLE: (
        "all runs of one came before all of the other, so the difference may be drift"
    ),
    Reason.BY_CHANCE: "with so many comparisons, one may well look like this by chance",
    Reason.NO_RUN_BACK: "no run back followed",
    Reason.OTHER_SETUP_NEXT: "the next run had another set-up",
    Reason.RUN_BACK_LATE: "the run back came too late",
    Reason.NOT_OPPOSITE: "the next run was not on the opposite course",
    Reason.OTHER_POWER_NEXT: "the next run was at another power",
    Reason.NO_DOUBLE_RUN: _no_double_run,
    # Reconciliation.
    Reason.AH_AT_WALL: "the meter was at the wall: ampere-hours there are not the pack's",
    Reason.METER_NOT_READ: "the meter was not read for it",
    Reason.NOTHING_TO_CHANGE: "no error large enough to tell: nothing to change",
    Reason.BACK_FITS: BACK_FITS,
    Reason.TOO_UNCERTAIN: TOO_UNCERTAIN,
    Reason.METER_AT_WALL: (
        "a meter at the wall measures the charger's losses too: it never corrects a sensor"
    ),
    Reason.NEEDS_AH: "only ampere-hours test the current sensor: give --charged-ah",
    Reason.NOT_FULL_TO_FULL: (
        "not known to have been full before and after: mark 'charged full', or give --full-to-full"
    ),
    Reason.NO_PACK_SIZE: "no [battery] in the profile: what share was used is not known",
    Reason.TOO_LITTLE_USED: "{used_fraction} of the pack was used: at least half is needed",
    Reason.ONLY_ZERO: "the sensor itself reported no current: all that was counted is its zero",
    Reason.NO_SENSORS_ERROR: "{times} times what was counted came back: no sensor is that far off",
    Reason.CHARGES_CONTRADICT: CHARGES_CONTRADICT,
    Reason.SCALE_ALONE: (
        "telling scale from zero takes at least {charges} charges, with mean currents that differ "
        "by a factor of {times}"
    ),
    # Planning.
    Reason.NO_WAY_MADE: "no speed tried makes way against this water current",
    # Saved records.
    Reason.NOT_READ: "its record cannot be read",
    Reason.NO_DATE: "no clock was set in this record",
    Reason.KNOWN_IN_NONE: "not known in any of the records",
    Reason.TOGETHER_IN_NONE: "no record has power and speed over the same time",
    Reason.HARDLY_MOVED_IN_ANY: "hardly moved in any of them",
}
