"""Statements about a comparison or a reconciliation: one row for each."""

from onboard.contract.codes import Code, Statement
from onboard.contract.reasons import Reason


class CautionCode(Code):
    """What would fool a comparison of set-ups."""

    POWER_NOT_HELD = (
        "power_not_held",
        "battery power was not held: {setups} that differ, with their {powers_w}; changes by "
        "{run_to_run_fraction} and {within_run_fraction}, None where there was none; what was held "
        "instead is {held}: motor_current, not_known, or None where nothing was",
    )
    MOTOR_CURRENT_HELD = (
        "motor_current_held",
        "Motor current was held at {motor_amps_a}, not battery power: equal torque, but power that "
        "varies with the rpm. Hold battery power, and ride all again.",
    )
    TOO_FEW_DOUBLE_RUNS = (
        "too_few_double_runs",
        "Too few double runs of {setups}: run each set-up there and back at least twice.",
    )
    USUAL_SCATTER = (
        "usual_scatter",
        "hardly any set-up has two laps, so the usual scatter of {sd_fraction} is assumed",
    )
    CURRENT_CHANGED = (
        "current_changed",
        "wind or water current changed, smoothly by {change_mps} or from leg to leg by "
        "{leg_sd_mps}; the other value is None",
    )
    OUTLIER_RUN = (
        "outlier_run",
        "Runs {run_numbers} ({setup}) are unlike all others of their kind and were left out.",
    )
    ORDER_CONFOUNDED = (
        "order_confounded",
        "the order hides drift between each of {setups} and the one beside it in {others}",
    )
    COURSES_DIFFER = (
        "courses_differ",
        "laps went round other courses than the rest, which are {usual_lap_m} long: {run_numbers} "
        "with {setups}, each {ways} (longer, shorter, other_way_round or other_shape) and as long "
        "as in {laps_m}",
    )
    VOLTAGE_DIFFERS = (
        "voltage_differs",
        "Pack voltage differed: {voltage_v} with {setup}, {other_voltage_v} with {other}. Charge "
        "to the same level, or alternate, and ride both again.",
    )
    TEMPERATURE_DIFFERS = (
        "temperature_differs",
        "temperature differed, the highest against the lowest, None where alike: of the pack, "
        "{pack_degc} with {pack_setup} and {pack_other_degc} with {pack_other}; of the motor "
        "drive, {drive_degc} with {drive_setup} and {drive_other_degc} with {drive_other}",
    )


class Caution(Statement[CautionCode]):
    """What would fool a comparison of set-ups, as a statement."""

    __slots__ = ()


class FindingCode(Code):
    """Why a verdict on the sensors is what it is."""

    FITS = "fits", Reason.BACK_FITS.sentence
    MORE_CHARGE = "more_charge", "more charge came back than the counted rides explain"
    LESS_CHARGE = "less_charge", "less charge came back than was counted"
    SCALE_READS_LOW = (
        "scale_reads_low",
        "the charge fits overall, but the current sensor's scale reads low",
    )
    SCALE_READS_HIGH = (
        "scale_reads_high",
        "the charge fits overall, but the current sensor's scale reads high",
    )
    ZERO_READS_LOW = (
        "zero_reads_low",
        "the charge fits overall, but the current sensor's zero reads low",
    )
    ZERO_READS_HIGH = (
        "zero_reads_high",
        "the charge fits overall, but the current sensor's zero reads high",
    )
    MORE_ENERGY = (
        "more_energy",
        "more energy came back than the counted rides and the pack's losses explain: current or "
        "voltage reads low, or the pack loses more than sound cells do",
    )
    LESS_ENERGY = (
        "less_energy",
        "less energy came back than was counted: current or voltage reads high",
    )
    VOLTAGE_OR_PACK = (
        "voltage_or_pack",
        "the charge fits, but more energy came back than it explains: the voltage reads low, or "
        "the pack loses more than sound cells do",
    )
    VOLTAGE_READS_HIGH = (
        "voltage_reads_high",
        "less energy came back than was counted: voltage reads high",
    )
    WALL_FITS = "wall_fits", "what the wall gave fits, with the losses of usual chargers"
    WALL_MORE = "wall_more", "more came out of the wall than usual: the charger may lose that much"
    WALL_LESS = (
        "wall_less",
        "less came out of the wall than usual: a very good charger may manage that",
    )
    WALL_TOO_LITTLE = (
        "wall_too_little",
        "less came out of the wall than was counted out of the pack",
    )
    TOO_UNCERTAIN = "too_uncertain", Reason.TOO_UNCERTAIN.sentence
    CHARGES_CONTRADICT = "charges_contradict", Reason.CHARGES_CONTRADICT.sentence


class Finding(Statement[FindingCode]):
    """Why a verdict on the sensors is what it is, as a statement."""

    __slots__ = ()


class RemarkCode(Code):
    """What a comparison or a reconciliation rests on."""

    # Comparison.
    NO_RUN_FOUND = (
        "no_run_found",
        "{log} from {from_s} after its start: no straight run with known power and speed in it",
    )
    NO_LAP_FOUND = (
        "no_lap_found",
        "{log} from {from_s} after its start: no lap with known power and speed in it",
    )
    LAP_CUT_SHORT = (
        "lap_cut_short",
        "{log} from {from_s} after its start: a lap that lacks {missing_fraction} of its course",
    )
    LAP_POWER_NOT_HELD = (
        "lap_power_not_held",
        "{log} from {from_s} after its start: a lap through which power was not held: it "
        "varied by {swing_fraction} about its mean",
    )

    # Reconciliation.
    FULL_UNKNOWN = (
        "full_unknown",
        "Whether the pack was full before and after is not known: the verdict assumes that the "
        "charge put back exactly what the rides took.",
    )
    SOME_FULL = (
        "some_full",
        "{full_charges} of {charges} charges are known to be full to full: only those are counted.",
    )
    NO_PACK = "no_pack", "No [battery] in the profile: losses of any chemistry are allowed for."
    PACKS_UNMEASURED = (
        "packs_unmeasured",
        "What battery {packs} gives is not measured: if it was charged too, the sums cannot fit.",
    )
    MAYBE_AT_WALL = (
        "maybe_at_wall",
        "Was the meter at the wall? There, a charger's losses usually make it this much more: if "
        "so, give --meter ac.",
    )
    NO_SENSOR = (
        "no_sensor",
        "No sensor is that far off: check that all rides on the charge are given, and that the "
        "meter was read right.",
    )
    RESTS_ON = (
        "rests_on",
        "The correction rests on {used_charges} of the charges: the others used too little of the "
        "pack.",
    )
    MARK_NO_AMOUNT = (
        "mark_no_amount",
        "{log}: charged full after {charge_ah}, but no amount is stated: left out. Mark 'charged' "
        "with what the meter showed, or give the charge in a sheet.",
    )
    MARK_EARLIER = (
        "mark_earlier",
        "{log}: the amount stated at its start belongs to rides before those given: left out.",
    )
    MARK_NOT_FROM_FULL = (
        "mark_not_from_full",
        "{log}: an amount is stated, but no mark 'charged full' before the rides: left out.",
    )
    MARK_NEVER_FULL = (
        "mark_never_full",
        "{log}: an amount is stated, but no mark 'charged full' after it: left out.",
    )
    MARK_PARTIAL = (
        "mark_partial",
        "{log}: the pack was stated to be charged to {left_fraction} without an amount: what was "
        "drawn since it was full is left out.",
    )
    MARK_KINDS = (
        "mark_kinds",
        "{log}: between two full charges, one amount is in Wh and another in Ah: they cannot "
        "be added, so the charge is left out.",
    )
    MARK_SESSION_BETWEEN = (
        "mark_session_between",
        "{log} lies between those given and drew {charge_ah}: add it; the charge that "
        "spans it is left out.",
    )
    BY_METER = (
        "by_meter",
        "Largest uncertainty: the meter. Its error is mostly the same in every charge, so more "
        "charges hardly narrow it. To halve it, check it against a meter twice as good, and halve "
        "--meter-sd-fraction.",
    )
    BY_RETURNED_CHARGE = (
        "by_returned_charge",
        "Largest uncertainty: whether the pack gives back all of the charge it took. It is the "
        "same each time, so more charges do not narrow it.",
    )
    BY_FULL = (
        "by_full",
        "Largest uncertainty: how well 'full' repeats. {charges} more charges like these halve "
        "it; so does using twice as much of the pack before each, if it holds that much.",
    )
    BY_UNLOGGED = (
        "by_unlogged",
        "Largest uncertainty: what was drawn while nothing was recorded. To be rid of it, "
        "disconnect the pack between rides and give --unlogged-ah 0.",
    )
    BY_GAPS = (
        "by_gaps",
        "Largest uncertainty: what was drawn in gaps in the logs. Logs without gaps have none.",
    )
    BY_CURRENT_OFFSET = (
        "by_current_offset",
        "Largest uncertainty: the current sensor's zero. To halve it, set current_offset_a to what "
        "it reads with nothing drawing current and halve current_offset_sd_a, or add charges from "
        "rides at clearly lower and higher currents.",
    )
    BY_VOLTAGE_SCALE = (
        "by_voltage_scale",
        "Largest uncertainty: the voltage sensor. To halve it, check it against a voltmeter, "
        "set voltage_scale and halve voltage_scale_sd.",
    )
    BY_PACK_LOSSES = (
        "by_pack_losses",
        "Largest uncertainty: the energy that the pack loses. Ampere-hours do not depend on it: "
        "give --charged-ah.",
    )
    BY_CHARGER = (
        "by_charger",
        "Largest uncertainty: what the charger loses. A meter between charger and pack avoids it.",
    )


class Remark(Statement[RemarkCode]):
    """What a comparison or a reconciliation rests on, as a statement."""

    __slots__ = ()
