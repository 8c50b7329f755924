"""The verdict on the sensors: what was counted against what came back, charge and energy apart."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from onboard.contract.figure import Estimate, Figure, Unknown
from onboard.efficiency.charge_balance import (
    Charge,
    Conditions,
    Counted,
    Fit,
    added,
    expected_ah,
    expected_wh,
    fits,
)
from onboard.efficiency.current_fit import CONTRADICTED, Correction, current_correction

Verdict = Literal["consistent", "sensor_reads_low", "sensor_reads_high", "cannot_tell"]

AT_WALL = Unknown("the meter was at the wall: ampere-hours there are not those of the pack")

TOO_WIDE = "what is uncertain weighs too much against what was drawn"


@dataclass(frozen=True)
class Reconciled:
    """What the charges say: those known to have been full to full, all if there are none.

    Parameters
    ----------
    counted
        Over those charges.
    charged_ah, charged_wh
        What came back, over those charges; None where the meter was not read.
    expected_ah, expected_wh
        What should have come back if the current sensor's scale is right.
    charge, energy
        How both fit; None where the meter was not read.
    correction
        Of the current sensor, or why none can be told.
    verdict
        A sensor reads low when more came back than can be explained.
    why
        In a sentence.
    """

    counted: Counted
    charged_ah: float | None
    charged_wh: float | None
    expected_ah: Estimate
    expected_wh: Figure
    charge: Fit | None
    energy: Fit | None
    correction: Correction | Unknown
    verdict: Verdict
    why: str


def reconciled(charges: Sequence[Charge], conditions: Conditions) -> Reconciled:
    """Compare what was counted with what came back.

    Parameters
    ----------
    charges
        At least one, each with something drawn; what the meter was read for (charge, energy) is the
        same for all.
    conditions
        What is known of them.
    """
    # One that was not full at both ends says nothing beside others that were.
    charges = [one for one in charges if one.full_to_full] or charges
    charged_ah, charged_wh = (
        _total([one.charged_ah for one in charges]),
        _total([one.charged_wh for one in charges]),
    )
    ah: Estimate = AT_WALL if conditions.at_wall else expected_ah(charges, conditions)
    wh = expected_wh(charges, conditions)
    charge = None if charged_ah is None or isinstance(ah, Unknown) else fits(charged_ah, ah)
    energy = None if charged_wh is None else fits(charged_wh, wh)
    correction = current_correction(charges, conditions)
    if correction is CONTRADICTED:
        verdict: tuple[Verdict, str] = "cannot_tell", CONTRADICTED.why
    elif conditions.at_wall:
        # Even a charger and a pack without any loss need what was drawn.
        lossless = expected_wh(charges, _beside_pack(conditions)).low or 0.0
        verdict = _at_wall(energy, charged_wh is not None and charged_wh < lossless)
    else:
        verdict = _beside(charge, energy, correction, conditions)
    return Reconciled(
        added([one.counted for one in charges]),
        charged_ah,
        charged_wh,
        ah,
        wh,
        charge,
        energy,
        correction,
        *verdict,
    )


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


def _at_wall(energy: Fit | None, impossible: bool) -> tuple[Verdict, str]:
    if impossible:
        return "sensor_reads_high", "less came out of the wall than was counted out of the pack"
    if energy == "within":
        return "consistent", "what the wall gave fits, with the losses of usual chargers"
    if energy == "more":
        return "cannot_tell", "more came out of the wall than usual: the charger may lose as much"
    if energy == "less":
        return "cannot_tell", "less came out of the wall than usual: a very good charger may do so"
    return "cannot_tell", TOO_WIDE


def _beside(
    charge: Fit | None, energy: Fit | None, correction: Correction | Unknown, conditions: Conditions
) -> tuple[Verdict, str]:
    """Judge by a meter between charger and pack: by charge where it can, which asks for less."""
    if charge == "more":
        return "sensor_reads_low", "more charge came back than the counted rides explain"
    if charge == "less":
        return "sensor_reads_high", "less charge came back than was counted"
    off = _off(correction, conditions)
    if charge == "within" and off is not None:
        return off
    return _by_energy(energy, charge == "within")


def _by_energy(energy: Fit | None, charge_fits: bool) -> tuple[Verdict, str]:
    if energy == "more" and charge_fits:
        return "cannot_tell", (
            "the charge fits, but more energy came back than it explains: the voltage reads low, "
            "or the pack loses more than sound cells do"
        )
    if energy == "more":
        return "sensor_reads_low", (
            "more energy came back than the counted rides and the pack's losses explain: current "
            "or voltage reads low, or the pack loses more than sound cells do"
        )
    if energy == "less":
        which = "voltage" if charge_fits else "current or voltage"
        return "sensor_reads_high", f"less energy came back than was counted: {which} reads high"
    if charge_fits or energy == "within":
        return "consistent", "what came back is within what can be told"
    return "cannot_tell", TOO_WIDE


def _off(correction: Correction | Unknown, conditions: Conditions) -> tuple[Verdict, str] | None:
    """Judge scale and zero where they were told apart: in the sum they may make up for another."""
    if isinstance(correction, Unknown) or isinstance(correction.offset_a, Unknown):
        return None
    sensors = conditions.sensors
    for found, stated, what in (
        (correction.scale, sensors.current_scale, "the scale of the current"),
        (correction.offset_a, sensors.current_offset_a, "the zero of the current"),
    ):
        fit = fits(stated, found)
        if fit == "less":
            return "sensor_reads_low", f"all in all the charge fits, but {what} reads low"
        if fit == "more":
            return "sensor_reads_high", f"all in all the charge fits, but {what} reads high"
    return None
