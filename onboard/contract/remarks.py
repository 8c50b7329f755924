"""Statements about a comparison or a reconciliation: one row for each, with its values."""

from onboard.contract.codes import Code, Statement, Value


class CautionCode(Code):
    """What would fool a comparison of set-ups."""

    POWER_NOT_HELD = (
        "power_not_held",
        "battery power was not held: set-ups that differ with their powers; changes, None where "
        "there was none; what was `held`: motor_current, not_known, or None where nothing was",
        "setups", "powers_w", "run_to_run_fraction", "within_run_fraction", "held",
    )  # fmt: skip
    MOTOR_CURRENT_HELD = (
        "motor_current_held", "motor current was held, not battery power", "motor_amps_a"
    )  # fmt: skip
    TOO_FEW_DOUBLE_RUNS = "too_few_double_runs", "set-ups have too few double runs", "setups"
    CURRENT_CHANGED = (
        "current_changed",
        "wind or water current changed, smoothly or from leg to leg; the other value is None",
        "change_mps", "leg_sd_mps",
    )  # fmt: skip
    OUTLIER_RUN = "outlier_run", "a double run is unlike all others", "run_numbers", "setup"
    ORDER_CONFOUNDED = (
        "order_confounded",
        "the order hides drift between each of `setups` and the one beside it in `others`",
        "setups", "others",
    )  # fmt: skip
    VOLTAGE_DIFFERS = (
        "voltage_differs", "pack voltage differed: the highest and the lowest",
        "setup", "voltage_v", "other", "other_voltage_v",
    )  # fmt: skip
    TEMPERATURE_DIFFERS = (
        "temperature_differs",
        "temperature of pack or motor drive differed: the highest and the lowest; None where alike",
        "pack_setup", "pack_degc", "pack_other", "pack_other_degc",
        "drive_setup", "drive_degc", "drive_other", "drive_other_degc",
    )  # fmt: skip


class Caution(Statement):
    """What would fool a comparison of set-ups, as a statement."""

    __slots__ = ()
    code: CautionCode

    def __init__(self, code: CautionCode, /, **values: Value) -> None:
        super().__init__(code, **values)


class FindingCode(Code):
    """Why a verdict on the sensors is what it is."""

    FITS = "fits", "what came back matches what was counted, as closely as can be told"
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
    MORE_ENERGY = "more_energy", "more energy came back than can be explained"
    LESS_ENERGY = "less_energy", "less energy came back than was counted"
    VOLTAGE_OR_PACK = (
        "voltage_or_pack", "the charge fits, but more energy came back than it explains"
    )  # fmt: skip
    VOLTAGE_READS_HIGH = (
        "voltage_reads_high",
        "the charge fits, but less energy came back than was counted",
    )
    WALL_FITS = "wall_fits", "what the wall gave fits"
    WALL_MORE = "wall_more", "more came out of the wall than usual"
    WALL_LESS = "wall_less", "less came out of the wall than usual"
    WALL_TOO_LITTLE = (
        "wall_too_little",
        "less came out of the wall than was counted out of the pack",
    )
    TOO_UNCERTAIN = "too_uncertain", "the uncertainty is too large"
    CHARGES_CONTRADICT = "charges_contradict", "the charges contradict each other"


class Finding(Statement):
    """Why a verdict on the sensors is what it is, as a statement."""

    __slots__ = ()
    code: FindingCode

    def __init__(self, code: FindingCode, /, **values: Value) -> None:
        super().__init__(code, **values)


class RemarkCode(Code):
    """What a comparison or a reconciliation rests on."""

    # Comparison.
    NO_RUN_FOUND = (
        "no_run_found", "no run in what was marked, `from_s` after the log's start", "log", "from_s"
    )  # fmt: skip

    # Reconciliation.
    FULL_UNKNOWN = "full_unknown", "not known to have been full before and after"
    SOME_FULL = "some_full", "only some charges are full to full", "full_charges", "charges"
    NO_PACK = "no_pack", "the profile has no [battery]"
    PACKS_UNMEASURED = "packs_unmeasured", "batteries whose current is not measured", "packs"
    MAYBE_AT_WALL = "maybe_at_wall", "this much more is usual for a meter at the wall"
    NO_SENSOR = "no_sensor", "no sensor is that far off"
    RESTS_ON = "rests_on", "the correction rests on only some of the charges", "used_charges"


class Remark(Statement):
    """What a comparison or a reconciliation rests on, as a statement."""

    __slots__ = ()
    code: RemarkCode

    def __init__(self, code: RemarkCode, /, **values: Value) -> None:
        super().__init__(code, **values)
