"""How far the pack goes at the speed of the cruise."""

import math

import numpy as np

from groundside.studies.pack_supply import Packs, Supply, with_energy
from onboard.contract.figure import Estimate, Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.dataclass import dataclass
from onboard.efficiency.statistics.shared_errors import COUNT, GAIN, OFFSET, VOLTAGE, Z_95
from onboard.efficiency.trial.cruise import Cruise, SetupCruise, cruise_at
from onboard.efficiency.trial.trial import Trial
from onboard.errors import UsageError
from onboard.profile import Profile


@dataclass(frozen=True)
class CruiseRange:
    """The set-ups at one speed, and how far a full pack goes with each.

    Parameters
    ----------
    cruise
        Consumption at that speed.
    range_m
        Range of each set-up, from full to the reserve or the cut-off.
    """

    cruise: Cruise
    range_m: tuple[Estimate, ...]


def cruise_range(
    speed_mps: float, trial: Trial, profile: Profile, battery_wh: float | None
) -> CruiseRange:
    """Return consumption and range at a speed.

    Parameters
    ----------
    speed_mps
        Speed through the water.
    trial
        The comparison, and the set-ups' curves.
    profile
        The craft.
    battery_wh
        Energy of the full pack, in place of the profile's.

    Raises
    ------
    UsageError
        If an energy is given without a battery in the profile.
    """
    found = cruise_at(speed_mps, trial.comparison, trial.curves)
    if profile.battery is None:
        if battery_wh is not None:
            raise UsageError(
                "--battery-wh: the craft profile has no [battery]: give one with --profile"
            )
        unknown: Estimate = Unknown(Reason.NO_BATTERY)
        return CruiseRange(found, (unknown,) * len(found.setups))
    supply = Packs(with_energy(profile.battery, battery_wh), profile.sensors).supply()
    return CruiseRange(found, tuple(_range_m(one, speed_mps, supply) for one in found.setups))


def _range_m(one: SetupCruise, speed_mps: float, supply: Supply) -> Estimate:
    """Return a range by the delta method, in the logarithm; see `groundside/studies/plan.py`."""
    cost = one.wh_per_km
    if isinstance(cost, Unknown):
        return cost
    power_w = cost.value * 3.6 * speed_mps
    left_wh, gradient, own = (
        values[0] for values in supply.left_at(np.array([power_w], np.float64))
    )
    if left_wh <= 0.0:
        return Unknown(Reason.NOTHING_LEFT)
    gains = np.zeros(COUNT)
    gains[GAIN] = gains[VOLTAGE] = 1.0
    gains[OFFSET] = supply.volts_v / power_w
    both = gradient / left_wh - gains
    variance = float(both @ supply.covariance @ both) + float(own) / float(left_wh) ** 2
    sd = math.sqrt(variance + one.sd_fraction**2)
    range_m = 1000.0 * float(left_wh) / cost.value
    return Figure(range_m, range_m * math.exp(-Z_95 * sd), range_m * math.exp(Z_95 * sd))
