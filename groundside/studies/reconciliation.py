"""The verdict on the sensors: counted against returned amounts, of charge and energy separately."""

from collections.abc import Mapping, Sequence
from typing import Literal

from groundside.studies.charge_balance import Charge, Conditions, Counted, added
from groundside.studies.charge_errors import (
    Expected,
    Fit,
    Source,
    expected_ah,
    expected_wh,
    fits,
)
from groundside.studies.current_fit import CONTRADICTED, Correction, current_correction
from onboard.contract.figure import Estimate, Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.contract.remarks import Finding, FindingCode
from onboard.dataclass import dataclass

Verdict = Literal["consistent", "sensor_reads_low", "sensor_reads_high", "cannot_tell"]
Judged = tuple[Verdict, Finding]

AT_WALL = Unknown(Reason.AH_AT_WALL)


@dataclass(frozen=True)
class Reconciled:
    """The result over the charges known to be full to full, or over all if none is.

    Parameters
    ----------
    counted_ah, counted_wh
        Counted over those charges of which charge or energy was read, or over all if of none.
    charged_ah, charged_wh
        Amounts returned over the same charges; None if the meter was not read.
    expected_ah, expected_wh
        Amounts expected to be returned if the current sensor's scale is right.
    charge, energy
        How each compares; None if the meter was not read.
    correction
        Correction of the current sensor, or why there is none.
    verdict
        A sensor reads low if more was returned than the uncertainties explain.
    why
        The finding behind the verdict.
    uncertain_by
        Relative variance that each source gives to the scale if there is a correction, else to the
        amount expected.
    """

    counted_ah: Counted
    counted_wh: Counted
    charged_ah: float | None
    charged_wh: float | None
    expected_ah: Estimate
    expected_wh: Figure
    charge: Fit | None
    energy: Fit | None
    correction: Correction | Unknown
    verdict: Verdict
    why: Finding
    uncertain_by: Mapping[Source, float]


def reconciled(charges: Sequence[Charge], conditions: Conditions) -> Reconciled:
    """Compare counted with returned amounts.

    Parameters
    ----------
    charges
        At least one, each with something drawn; all with meter readings of the same quantities
        (charge, energy).
    conditions
        Properties of pack, meter and sensors.
    """
    # If some charges are full to full, the others add no information.
    charges = [one for one in charges if one.full_to_full] or charges
    by_ah, by_wh = _read_in(charges, "charged_ah"), _read_in(charges, "charged_wh")
    charged_ah = _total([one.charged_ah for one in by_ah])
    charged_wh = _total([one.charged_wh for one in by_wh])
    in_ah, in_wh = expected_ah(by_ah, conditions), expected_wh(by_wh, conditions)
    ah: Estimate = AT_WALL if conditions.at_wall else in_ah.figure
    wh = in_wh.figure
    charge = None if charged_ah is None or isinstance(ah, Unknown) else fits(charged_ah, ah)
    energy = None if charged_wh is None else fits(charged_wh, wh)
    correction = current_correction(charges, conditions)
    if correction is CONTRADICTED:
        verdict: Judged = "cannot_tell", Finding(FindingCode.CHARGES_CONTRADICT)
    elif conditions.at_wall:
        # Even without losses in charger and pack, what was drawn must be returned.
        lossless = expected_wh(by_wh, _beside_pack(conditions)).figure.low or 0.0
        verdict = _at_wall(energy, charged_wh is not None and charged_wh < lossless)
    else:
        verdict = _beside(charge, energy, correction, conditions)
    return Reconciled(
        added([one.counted for one in by_ah]),
        added([one.counted for one in by_wh]),
        charged_ah,
        charged_wh,
        ah,
        wh,
        charge,
        energy,
        correction,
        *verdict,
        _relative(correction, in_wh if charge is None else in_ah),
    )


def _read_in(
    charges: Sequence[Charge], reading: Literal["charged_ah", "charged_wh"]
) -> Sequence[Charge]:
    """Return the charges that were read in a unit, or all if none was."""
    return [one for one in charges if getattr(one, reading) is not None] or charges


def _relative(correction: Correction | Unknown, expected: Expected) -> dict[Source, float]:
    if isinstance(correction, Unknown):
        of, variances = expected.figure.value, expected.variances
    else:
        of, variances = correction.scale.value, correction.variances
    return {source: variance / of**2 for source, variance in variances.items()}


def _total(parts: Sequence[float | None]) -> float | None:
    known = [part for part in parts if part is not None]
    return sum(known) if len(known) == len(parts) else None


def _beside_pack(conditions: Conditions) -> Conditions:
    return Conditions(
        conditions.sensors,
        conditions.pack_ah,
        conditions.chemistry,
        meter_sd_fraction=conditions.meter_sd_fraction,
        charge_a=conditions.charge_a,
    )


def _at_wall(energy: Fit | None, impossible: bool) -> Judged:
    if impossible:
        return "sensor_reads_high", Finding(FindingCode.WALL_TOO_LITTLE)
    if energy == "within":
        return "consistent", Finding(FindingCode.WALL_FITS)
    if energy == "more":
        return "cannot_tell", Finding(FindingCode.WALL_MORE)
    if energy == "less":
        return "cannot_tell", Finding(FindingCode.WALL_LESS)
    return "cannot_tell", Finding(FindingCode.TOO_UNCERTAIN)


def _beside(
    charge: Fit | None, energy: Fit | None, correction: Correction | Unknown, conditions: Conditions
) -> Judged:
    """Judge by a meter between charger and pack: by charge if possible, which assumes less."""
    if charge == "more":
        return "sensor_reads_low", Finding(FindingCode.MORE_CHARGE)
    if charge == "less":
        return "sensor_reads_high", Finding(FindingCode.LESS_CHARGE)
    off = _off(correction, conditions)
    if charge == "within" and off is not None:
        return off
    return _by_energy(energy, charge == "within")


def _by_energy(energy: Fit | None, charge_fits: bool) -> Judged:
    if energy == "more" and charge_fits:
        return "cannot_tell", Finding(FindingCode.VOLTAGE_OR_PACK)
    if energy == "more":
        return "sensor_reads_low", Finding(FindingCode.MORE_ENERGY)
    if energy == "less":
        what = FindingCode.VOLTAGE_READS_HIGH if charge_fits else FindingCode.LESS_ENERGY
        return "sensor_reads_high", Finding(what)
    if charge_fits or energy == "within":
        return "consistent", Finding(FindingCode.FITS)
    return "cannot_tell", Finding(FindingCode.TOO_UNCERTAIN)


def _off(correction: Correction | Unknown, conditions: Conditions) -> Judged | None:
    """Judge scale and zero if they were separated: their errors may cancel in the sum."""
    if isinstance(correction, Unknown) or isinstance(correction.offset_a, Unknown):
        return None
    sensors = conditions.sensors
    for found, stated, low, high in (
        (
            correction.scale,
            sensors.current_scale,
            FindingCode.SCALE_READS_LOW,
            FindingCode.SCALE_READS_HIGH,
        ),
        (
            correction.offset_a,
            sensors.current_offset_a,
            FindingCode.ZERO_READS_LOW,
            FindingCode.ZERO_READS_HIGH,
        ),
    ):
        fit = fits(stated, found)
        if fit == "less":
            return "sensor_reads_low", Finding(low)
        if fit == "more":
            return "sensor_reads_high", Finding(high)
    return None
