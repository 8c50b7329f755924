"""The cue in words: what to do, and how far the ride is off target."""

from collections.abc import Mapping

from groundside.words.figures import cost_text, distance_text, percent, speed_text, whole
from groundside.words.units import Units
from onboard.contract.advice import Standing, Target
from onboard.contract.codes import Code
from onboard.contract.figure import Unknown

LEAST_FRACTION = 0.005
"""What is off by less is written as 0 %."""
TOO_MUCH: Mapping[Code, str] = {
    Standing.AGAINST_SPEED: "too fast",
    Standing.AGAINST_ADVISED: "too fast",
    Standing.AGAINST_POWER: "too much power",
    Standing.AGAINST_CONSUMPTION: "over budget",
}
TOO_LITTLE: Mapping[Code, str] = {
    Standing.AGAINST_SPEED: "too slow",
    Standing.AGAINST_ADVISED: "in hand",
    Standing.AGAINST_POWER: "too little power",
    Standing.AGAINST_CONSUMPTION: "to spare",
}


def cue_text(target: Target, units: Units) -> str:
    """Return how far off the ride is, and what to do; empty if neither is known.

    Within the cue's tolerance a ride is not called too fast.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from groundside.words.units import CHOICES
    >>> from onboard.contract.advice import Stand
    >>> from onboard.contract.figure import throughout
    >>> from onboard.contract.reasons import Reason
    >>> nothing = throughout(Target)(Unknown(Reason.NO_CURVE))
    >>> stand = Stand(Standing.AGAINST_SPEED, difference_fraction=0.31)
    >>> target = replace(
    ...     nothing, speed_mps=2.222, difference_fraction=0.31, cue="ease", reason=stand
    ... )
    >>> cue_text(target, CHOICES["km/h"])
    '31 % too fast: hold 8.0 km/h'
    >>> cue_text(replace(target, cue="hold", difference_fraction=-0.02), CHOICES["km/h"])
    'within 2 %: hold 8.0 km/h'
    >>> cue_text(replace(target, difference_fraction=0.0), CHOICES["km/h"])
    'not sure yet: hold 8.0 km/h'
    """
    off, wanted = _off(target, units), _wanted(target, units)
    return f"{off}: {wanted}" if off and wanted else off or wanted


def _off(target: Target, units: Units) -> str:
    fraction, to_go_m = target.difference_fraction, target.distance_m
    if target.reason.code is Standing.CANNOT_BE_MADE and not isinstance(to_go_m, Unknown):
        return f"{distance_text(to_go_m, units)} in doubt"
    if isinstance(fraction, Unknown):
        return ""
    share, is_none = percent(abs(fraction)), abs(fraction) < LEAST_FRACTION
    if target.cue == "hold":
        return "on target" if is_none else f"within {share}"
    if is_none or (fraction < 0) is (target.cue == "ease"):
        return "not sure yet"  # of a distance: the cue stays until it is sure again
    words = TOO_MUCH if fraction > 0 else TOO_LITTLE
    return f"{share} {words.get(target.reason.code, 'over' if fraction > 0 else 'under')}"


def _wanted(target: Target, units: Units) -> str:
    if not isinstance(target.power_w, Unknown):
        return f"hold {whole(target.power_w)} W"
    if not isinstance(target.speed_mps, Unknown):
        return f"hold {speed_text(target.speed_mps, units)}"
    if not isinstance(target.wh_per_km, Unknown):
        return f"aim for {cost_text(target.wh_per_km, units)}"
    return ""
