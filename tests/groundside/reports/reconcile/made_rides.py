"""Logs of simulated rides whose true charge is known."""

from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from tests.craft.battery import Battery, open_circuit_v
from tests.craft.craft import Craft, Ride
from tests.craft.crafts import SKIFF
from tests.craft.onboard_log import onboard_log_bytes
from tests.craft.recording import record
from tests.craft.rider import Leg, Rider, Steer
from tests.craft.scenarios import HARBOUR_LOOP, HARBOUR_WATER, LEAN_RATES_HZ
from tests.craft.sensors import Sensors
from tests.craft.telemetry_log import log_bytes
from tests.craft.truth import totals

SENSORS = Sensors(current_scale=1.06, current_offset_a=0.35, voltage_scale=1.002)
POWERS = ((120.0, 620.0), (400.0, 220.0), (1100.0, 80.0))
"""Power into the drive [W] and duration [s]: each takes about the same from a very small pack of
`PACK_AH`."""
PACK_AH = 0.7


CHARGE_PER_H = 0.2
"""Charging rate, as a fraction of the pack per hour."""


@dataclass(frozen=True)
class MadeRide:
    log: bytes
    onboard_log: bytes
    charge_ah: float
    energy_wh: float
    charged_wh: float
    """Energy to charge a pack of equal voltage and resistance at `CHARGE_PER_H`."""


@cache
def made_ride(power_w: float, seconds: float, craft: Craft = SKIFF) -> MadeRide:
    """Return the ride of a moored craft at constant power."""
    leg = Leg("pull", seconds, 10.0, power_w=power_w, ramp_s=2.0, steer=Steer.MADE_FAST)
    ride = Ride(craft, HARBOUR_WATER, Rider(max_power_w=1500.0), (leg,), 45.0312, -30.0187)
    options = replace(HARBOUR_LOOP.options, rates_hz=LEAN_RATES_HZ)
    scenario = replace(HARBOUR_LOOP, name="pull", ride=ride, sensors=SENSORS, options=options)
    recording = record(scenario)
    sums = totals(recording.truth)
    return MadeRide(
        log_bytes(recording.frames, scenario.start_unix_s),
        onboard_log_bytes(recording) if seconds < 300.0 else b"",
        sums.charge_ah,
        sums.energy_wh,
        _charged_wh(craft.battery, float(recording.truth.charge_fraction[-1])),
    )


def _charged_wh(battery: Battery, fraction: float) -> float:
    amps = CHARGE_PER_H * battery.capacity_ah
    lost_v = amps * (battery.resistance_ohm + battery.slow_resistance_ohm)
    fractions = np.linspace(fraction, battery.start_fraction, 1000)
    volts = [open_circuit_v(battery, place) + lost_v for place in fractions.tolist()]
    return float(np.trapezoid(volts, fractions)) * battery.capacity_ah


def profile_text(pack_ah: float, sensors: str = "", battery: Battery = SKIFF.battery) -> str:
    stated = f'chemistry = "{battery.chemistry}"\ncells = {battery.cells}\n'
    return f"[battery]\n{stated}capacity_ah = {pack_ah}\n\n[sensors]\n{sensors}\n"
