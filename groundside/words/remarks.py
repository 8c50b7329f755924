"""What `compare` and `reconcile` say beside their figures: cautions, findings, remarks."""

from collections.abc import Mapping

from groundside.words.figures import percent, whole
from groundside.words.filling import Sentence, fill, written
from groundside.words.reasons import BACK_FITS, CHARGES_CONTRADICT, TOO_UNCERTAIN
from groundside.words.units import Units
from onboard.contract.codes import Value
from onboard.contract.remarks import (
    Caution,
    CautionCode,
    Finding,
    FindingCode,
    Remark,
    RemarkCode,
)

Values = Mapping[str, Value]


def caution_text(caution: Caution, units: Units) -> str:
    """Return what would fool a comparison, and what to do about it.

    Examples
    --------
    >>> from groundside.words.units import CHOICES
    >>> changed = Caution(CautionCode.CURRENT_CHANGED, change_mps=0.3, leg_sd_mps=None)
    >>> caution_text(changed, CHOICES["kn"]).split(".", 2)[:2]
    ['Wind or water current along the runs changed by 0', '58 kn']
    """
    return fill(CAUTIONS[caution.code], caution, units)


def finding_text(finding: Finding, units: Units) -> str:
    """Return why a verdict on the sensors is what it is, without a full stop."""
    return fill(FINDINGS[finding.code], finding, units)


def remark_text(remark: Remark, units: Units) -> str:
    """Return what a comparison or a reconciliation rests on.

    Examples
    --------
    >>> from groundside.words.units import CHOICES
    >>> remark_text(Remark(RemarkCode.PACKS_UNMEASURED, packs=(1, 2)), CHOICES["km/h"])
    'What battery 1, 2 gives is not measured: if it was charged too, the sums cannot fit.'
    """
    return fill(REMARKS[remark.code], remark, units)


def _beside(values: Values, one: str, other: str) -> list[tuple[Value, Value]]:
    """Return the pairs of two lists of the same length."""
    first, second = values[one], values[other]
    assert isinstance(first, tuple)
    assert isinstance(second, tuple)
    return list(zip(first, second, strict=True))


def _number(value: Value) -> float:
    assert isinstance(value, int | float)
    return value


def _power_not_held(values: Values, units: Units) -> str:
    apart = [
        f"{written('powers_w', power_w, units)} with {setup}"
        for setup, power_w in _beside(values, "setups", "powers_w")
    ]
    said = [", ".join(apart)] if apart else []
    for key, when in (
        ("run_to_run_fraction", "from run to run"),
        ("within_run_fraction", "within a run"),
    ):
        if values[key] is not None:
            said.append(f"it varied by {percent(_number(values[key]))} {when}")
    if values["held"] == "not_known":
        said.append(
            "what was held instead is not known: the log has no motor current, nor motor turns "
            "with the motor's data in the profile's [drive]"
        )
    return f"Battery power was not held: {'; '.join(said)}."


def _current_changed(values: Values, units: Units) -> str:
    def speed(key: str) -> str:
        # Two decimals: a twentieth of a m/s matters here.
        return f"{units.speed(_number(values[key])):.2f} {units.speed_name}"

    if values["change_mps"] is not None:
        return (
            f"Wind or water current along the runs changed by {speed('change_mps')}. A smooth "
            "change was taken out; runs closer together make the rest matter less."
        )
    return (
        f"Wind or water current changed from leg to leg (by {speed('leg_sd_mps')}): the intervals "
        "are wider for it. Wait for calmer water."
    )


def _outlier_run(values: Values, units: Units) -> str:
    numbers = values["run_numbers"]
    assert isinstance(numbers, tuple)
    runs = " and ".join(written("run_numbers", number, units) for number in numbers)
    return (
        f"Runs {runs} ({values['setup']}) are unlike all others of their kind and were left out: "
        "weed, a wake, a slip of the hand? Run them again."
    )


def _order_confounded(values: Values, units: Units) -> str:
    del units
    pairs = ", ".join(f"{a} and {b}" for a, b in _beside(values, "setups", "others"))
    return (
        f"No verdict on {pairs}: all runs of one came before all of the other, or on other days, "
        "so wind, water or the pack may be what differs. Take turns there and back (A B B A), or "
        "draw lots for the order."
    )


def _temperature_differs(values: Values, units: Units) -> str:
    del units
    said = [
        f"{name} {whole(_number(values[f'{key}_degc']))} °C with {values[f'{key}_setup']}, "
        f"{whole(_number(values[f'{key}_other_degc']))} °C with {values[f'{key}_other']}"
        for key, name in (("pack", "pack"), ("drive", "motor drive"))
        if values[f"{key}_degc"] is not None
    ]
    return f"Temperature differed: {'; '.join(said)}. Let it cool, or take turns."


def _no_run_found(values: Values, units: Units) -> str:
    del units
    # In seconds, as in a run sheet.
    return (
        f"{values['log']} from {whole(_number(values['from_s']))} s: no straight run with known "
        "power and speed in it"
    )


CAUTIONS: Mapping[CautionCode, Sentence] = {
    CautionCode.POWER_NOT_HELD: _power_not_held,
    CautionCode.MOTOR_CURRENT_HELD: (
        "Motor current was held at {motor_amps_a}, not battery power. Equal current is equal "
        "torque; power goes with the turns, so it differs between propellers. Hold battery power "
        "instead."
    ),
    CautionCode.TOO_FEW_DOUBLE_RUNS: (
        "Too few double runs of {setups}: run each set-up there and back at least twice."
    ),
    CautionCode.CURRENT_CHANGED: _current_changed,
    CautionCode.OUTLIER_RUN: _outlier_run,
    CautionCode.ORDER_CONFOUNDED: _order_confounded,
    CautionCode.VOLTAGE_DIFFERS: (
        "Pack voltage differed: {voltage_v} with {setup}, {other_voltage_v} with {other}. Charge "
        "to the same level before each, or take turns."
    ),
    CautionCode.TEMPERATURE_DIFFERS: _temperature_differs,
}

FINDINGS: Mapping[FindingCode, Sentence] = {
    FindingCode.FITS: BACK_FITS,
    FindingCode.MORE_CHARGE: "more charge came back than the counted rides explain",
    FindingCode.LESS_CHARGE: "less charge came back than was counted",
    FindingCode.SCALE_READS_LOW: (
        "the charge fits overall, but the current sensor's scale reads low"
    ),
    FindingCode.SCALE_READS_HIGH: (
        "the charge fits overall, but the current sensor's scale reads high"
    ),
    FindingCode.ZERO_READS_LOW: "the charge fits overall, but the current sensor's zero reads low",
    FindingCode.ZERO_READS_HIGH: (
        "the charge fits overall, but the current sensor's zero reads high"
    ),
    FindingCode.MORE_ENERGY: (
        "more energy came back than the counted rides and the pack's losses explain: current or "
        "voltage reads low, or the pack loses more than sound cells do"
    ),
    FindingCode.LESS_ENERGY: (
        "less energy came back than was counted: current or voltage reads high"
    ),
    FindingCode.VOLTAGE_OR_PACK: (
        "the charge fits, but more energy came back than it explains: the voltage reads low, or "
        "the pack loses more than sound cells do"
    ),
    FindingCode.VOLTAGE_READS_HIGH: "less energy came back than was counted: voltage reads high",
    FindingCode.WALL_FITS: "what the wall gave fits, with the losses of usual chargers",
    FindingCode.WALL_MORE: "more came out of the wall than usual: the charger may lose that much",
    FindingCode.WALL_LESS: (
        "less came out of the wall than usual: a very good charger may manage that"
    ),
    FindingCode.WALL_TOO_LITTLE: "less came out of the wall than was counted out of the pack",
    FindingCode.TOO_UNCERTAIN: TOO_UNCERTAIN,
    FindingCode.CHARGES_CONTRADICT: CHARGES_CONTRADICT,
}

REMARKS: Mapping[RemarkCode, Sentence] = {
    RemarkCode.NO_RUN_FOUND: _no_run_found,
    RemarkCode.FULL_UNKNOWN: (
        "Whether the pack was full before and after is not known: the verdict assumes that the "
        "charge put back exactly what the rides took."
    ),
    RemarkCode.SOME_FULL: (
        "{full_charges} of {charges} charges are known to be full to full: only those are counted."
    ),
    RemarkCode.NO_PACK: "No [battery] in the profile: losses of any chemistry are allowed for.",
    RemarkCode.PACKS_UNMEASURED: (
        "What battery {packs} gives is not measured: if it was charged too, the sums cannot fit."
    ),
    RemarkCode.MAYBE_AT_WALL: (
        "Was the meter at the wall? There, a charger's losses usually make it this much more: if "
        "so, give --meter ac."
    ),
    RemarkCode.NO_SENSOR: (
        "No sensor is that far off: check that all rides on the charge are given, and that the "
        "meter was read right."
    ),
    RemarkCode.RESTS_ON: (
        "The correction rests on {used_charges} of them: the others used less than half the pack."
    ),
}
