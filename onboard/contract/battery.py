"""The battery: energy left, and what was learned of the pack over all rides."""

from onboard.contract.figure import Estimate, Unknown
from onboard.dataclass import dataclass


@dataclass(frozen=True)
class LearnedPack:
    """The pack's capacity and the current sensor's scale, and what they rest on.

    Parameters
    ----------
    capacity_ah
        Charge of the full pack, as the current sensor counts it.
    rests
        Rested voltages that it rests on besides the profile, those of earlier rides included.
    current_scale
        True current over reported: the profile's, corrected by the charger's meter.
    charges
        Metered charges from full to full that it rests on besides the profile.
    """

    capacity_ah: Estimate
    rests: int
    current_scale: Estimate
    charges: int


@dataclass(frozen=True)
class BatteryState:
    """The energy left, the pack's resistance, and what was learned of it.

    Parameters
    ----------
    left_wh
        Energy that can be drawn before the reserve or the cut-off is reached.
    left_fraction
        The same as a share of the pack's full energy.
    charge_fraction
        State of charge of the whole pack, reserve included: its charge over that of a full pack.
    resistance_ohm
        Internal resistance of the whole pack: its immediate response. Until it is measured, that of
        an earlier ride or of the profile.
    learned
        Capacity and current sensor, as learned over all rides.
    """

    left_wh: Estimate
    left_fraction: Estimate
    charge_fraction: Estimate
    resistance_ohm: Estimate
    learned: LearnedPack | Unknown
