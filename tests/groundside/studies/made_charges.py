"""Charge balances with a known truth."""

import math

import numpy as np

from groundside.studies.charge_balance import Charge, Conditions, Counted, Unlogged
from groundside.studies.charge_errors import METER_ALIKE
from onboard.profile import Sensors

PACK_AH = 25.0
VOLTS = 50.0
EXACT = Sensors(current_scale_sd=0.0, current_offset_sd_a=0.0, voltage_scale_sd=0.0)


def counted(charge_ah: float, amps: float = 10.0, volts: float = VOLTS) -> Counted:
    hours = charge_ah / amps
    return Counted(charge_ah, charge_ah * volts, hours, hours * volts, 0.0, amps)


def charge(
    charge_ah: float = 20.0,
    back_ah: float | None = None,
    back_wh: float | None = None,
    *,
    amps: float = 10.0,
    full: bool = True,
    unlogged: Unlogged = Unlogged(),  # noqa: B008
) -> Charge:
    return Charge(counted(charge_ah, amps), back_ah, back_wh, full, unlogged)


def conditions(sensors: Sensors = EXACT, **more) -> Conditions:
    return Conditions(sensors, **({"pack_ah": PACK_AH, "chemistry": "li-ion"} | more))


def drawn(
    seed: int,
    amps: tuple[float, ...] = (10.0,),
    *,
    scale: float = 1.0,
    offset_a: float = 0.0,
    sensors: Sensors = EXACT,
    unlogged: Unlogged = Unlogged(),  # noqa: B008
    unseen_ah: float = 0.0,
) -> list[Charge]:
    """Draw charges of one craft, with everything else drawn from its stated uncertainty.

    The pack gives back 0.99 to 1.01 of its charge (lithium cells: approximately all of it;
    Batteries 2019, 5(3), 57), the meter is good to 1 %, most of it alike every time, 'full'
    to half a per cent of the pack.
    """
    rng = np.random.default_rng(seed)
    efficiency = rng.uniform(0.99, 1.01)
    meter = 1.0 + 0.01 * math.sqrt(METER_ALIKE) * rng.standard_normal()
    zero_a = offset_a + sensors.current_offset_sd_a * rng.standard_normal()
    found = []
    for current in amps:
        reported_ah = rng.uniform(0.65, 0.95) * PACK_AH
        hours = reported_ah / current
        true_ah = scale * reported_ah + zero_a * hours + unseen_ah
        full_ah = 0.005 * PACK_AH * rng.standard_normal()
        once = 0.01 * math.sqrt(1.0 - METER_ALIKE) * rng.standard_normal()
        back_ah = (true_ah + full_ah) / efficiency * (meter + once)
        told_ah = sensors.current_scale * reported_ah + sensors.current_offset_a * hours
        energy_wh = told_ah * VOLTS
        was = Counted(told_ah, energy_wh, hours, hours * VOLTS, 0.0, current)
        found.append(Charge(was, back_ah, None, True, unlogged))
    return found


def binomial_limits(count: int, share: float = 0.95, z: float = 2.576) -> tuple[float, float]:
    """Return the 99 % limits of the share covered by a number of intervals."""
    reach = z * math.sqrt(share * (1.0 - share) / count)
    return share - reach, share + reach
