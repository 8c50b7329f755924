"""Cautions, findings and remarks beside the figures of `compare` and `reconcile`."""

from collections.abc import Mapping

from groundside.words.figures import percent, whole
from groundside.words.filling import Values, Wording, fill, statement_text, written
from groundside.words.units import Units
from onboard.contract.codes import Code, Value
from onboard.contract.remarks import (
    Caution,
    CautionCode,
    Finding,
    Remark,
    RemarkCode,
)
from onboard.efficiency.trial.trial_practice import STEP_SD_FRACTION

PAIRS_NAMED_MOST, NAMED_MOST = 2, 3
"""Pairs that a caution names; and, if there are more, set-ups."""


def caution_text(caution: Caution, units: Units) -> str:
    """Return what may mislead a comparison, and what to do about it.

    Examples
    --------
    >>> from groundside.words.units import CHOICES
    >>> changed = Caution(CautionCode.CURRENT_CHANGED, change_mps=0.3, leg_sd_mps=None)
    >>> caution_text(changed, CHOICES["kn"]).split(";")[0]
    'Wind or water current along the runs changed by 0.58 kn'
    """
    return statement_text(caution, units, WORDINGS)


def finding_text(finding: Finding, units: Units) -> str:
    """Return the finding behind a verdict on the sensors, without a full stop."""
    return statement_text(finding, units)


def remark_text(remark: Remark, units: Units) -> str:
    """Return a remark on what a comparison or a reconciliation is based on.

    Examples
    --------
    >>> from groundside.words.units import CHOICES
    >>> remark_text(Remark(RemarkCode.PACKS_UNMEASURED, packs=(1, 2)), CHOICES["km/h"])
    'What battery 1, 2 gives is not measured: if it was charged too, the sums cannot fit.'
    """
    return statement_text(remark, units, WORDINGS)


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
        for setup, power_w in sorted(
            _beside(values, "setups", "powers_w"), key=lambda one: -_number(one[1])
        )
    ]
    several = f"{apart[0]} to {apart[-1]}" if len(apart) > 2 else ", ".join(apart)
    parts = [several] if apart else []
    for key, when in (
        ("run_to_run_fraction", "from run to run"),
        ("within_run_fraction", "within a run"),
    ):
        if values[key] is not None:
            parts.append(f"it varied by {percent(_number(values[key]))} {when}")
    if values["held"] == "not_known":
        parts.append("the log has no motor current")
    return f"Battery power was not held: {'; '.join(parts)}. Hold one battery power and ride again."


def _usual_scatter(values: Values, _units: Units) -> str:
    # One decimal: 1.5 % is not 2 %.
    return (
        "Hardly any set-up has two laps, so the usual scatter of "
        f"{100.0 * _number(values['sd_fraction']):.1f} % is assumed (common practice). Ride each "
        "again."
    )


def _current_changed(values: Values, units: Units) -> str:
    def speed(key: str) -> str:
        # Two decimals: a twentieth of a m/s matters here.
        return f"{units.speed(_number(values[key])):.2f} {units.speed_name}"

    if values["change_mps"] is not None:
        return (
            f"Wind or water current along the runs changed by {speed('change_mps')}; a smooth "
            "change was taken out. Ride back at once, and keep the course short."
        )
    return (
        f"Wind or water current changed from leg to leg (by {speed('leg_sd_mps')}), which "
        "widens the intervals. Wait for calmer water."
    )


def _outlier_run(values: Values, units: Units) -> str:
    numbers = values["run_numbers"]
    assert isinstance(numbers, tuple)
    runs = " and ".join(written("run_numbers", number, units) for number in numbers)
    # A lap is one run, a double run is two.
    run, are, them = ("Run", "is", "it") if len(numbers) == 1 else ("Runs", "are", "them")
    return (
        f"{run} {runs} ({values['setup']}) {are} unlike all others and left out: weed, a wake, a "
        f"slip of the hand? Ride {them} again."
    )


def _order_confounded(values: Values, _units: Units) -> str:
    pairs = _beside(values, "setups", "others")
    names = [f"{a} and {b}" for a, b in pairs]
    if len(pairs) > PAIRS_NAMED_MOST:
        names = list(dict.fromkeys(str(name) for pair in pairs for name in pair))
    if len(names) > NAMED_MOST + 1:
        names[NAMED_MOST:] = [f"and {len(names) - NAMED_MOST} more"]
    return (
        f"Not alternated: {', '.join(names)}. A step in wind, charge or trim may be the difference "
        f"({100.0 * STEP_SD_FRACTION:g} % is allowed for). Ride alternately, A B B A."
    )


def _temperature_differs(values: Values, _units: Units) -> str:
    parts = [
        f"{name} {whole(_number(values[f'{key}_degc']))} °C with {values[f'{key}_setup']}, "
        f"{whole(_number(values[f'{key}_other_degc']))} °C with {values[f'{key}_other']}"
        for key, name in (("pack", "pack"), ("drive", "motor drive"))
        if values[f"{key}_degc"] is not None
    ]
    return f"Temperature differed: {'; '.join(parts)}. Let it cool, or alternate, and ride again."


_WAYS = {
    "longer": "was {off} longer",
    "shorter": "was {off} shorter",
    "other_way_round": "went the other way round",
    "other_shape": "had another shape",
}


def _courses_differ(values: Values, units: Units) -> str:
    usual_m = _number(values["usual_lap_m"])
    parts = [
        f"run {written('run_numbers', number, units)} ({setup}) "
        + _WAYS[str(way)].format(off=percent(abs(_number(lap_m) / usual_m - 1.0)))
        for (number, setup), (way, lap_m) in zip(
            _beside(values, "run_numbers", "setups"),
            _beside(values, "ways", "laps_m"),
            strict=True,
        )
    ]
    # Two decimals: laps are short.
    usual = f"{units.distance(usual_m):.2f} {units.distance_name}"
    return (
        f"Laps differ from the usual {usual}: {', '.join(parts)}. Ride all laps round the same "
        "marks."
    )


def _found_in(what: str) -> Wording:
    # In seconds, as in a run sheet.
    return lambda values, units: (
        f"{values['log']} from {whole(_number(values['from_s']))} s: " + fill(what, values, units)
    )


WORDINGS: Mapping[Code, Wording] = {
    CautionCode.POWER_NOT_HELD: _power_not_held,
    CautionCode.USUAL_SCATTER: _usual_scatter,
    CautionCode.CURRENT_CHANGED: _current_changed,
    CautionCode.OUTLIER_RUN: _outlier_run,
    CautionCode.ORDER_CONFOUNDED: _order_confounded,
    CautionCode.TEMPERATURE_DIFFERS: _temperature_differs,
    CautionCode.COURSES_DIFFER: _courses_differ,
    RemarkCode.NO_RUN_FOUND: _found_in("no straight run with known power and speed in it"),
    RemarkCode.NO_LAP_FOUND: _found_in("no lap with known power and speed in it"),
    RemarkCode.LAP_CUT_SHORT: _found_in("a lap was cut short, {missing_fraction} of it is missing"),
    RemarkCode.LAP_POWER_NOT_HELD: _found_in(
        "power was not held through a lap, it varied by {swing_fraction}"
    ),
}
"""Cautions and remarks that need more than gaps; all other sentences are rows of the contract."""
