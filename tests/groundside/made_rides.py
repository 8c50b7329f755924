"""Logs of simulated rides whose true charge is known, for the tests of reconciling."""

from dataclasses import dataclass, replace
from functools import cache

from tests.craft.craft import Ride
from tests.craft.crafts import SKIFF
from tests.craft.recording import record
from tests.craft.rider import Leg, Rider, Steer
from tests.craft.scenarios import HARBOUR_LOOP, HARBOUR_WATER, LEAN_RATES_HZ
from tests.craft.sensors import Sensors
from tests.craft.telemetry_log import log_bytes
from tests.craft.truth import totals

SENSORS = Sensors(current_scale=1.06, current_offset_a=0.35, voltage_scale=1.002)
POWERS = ((120.0, 620.0), (400.0, 220.0), (1100.0, 80.0))
"""Power into the drive [W], and for how long [s]: each takes about as much from a very small
pack of `PACK_AH`."""
PACK_AH = 0.7


@dataclass(frozen=True)
class MadeRide:
    log: bytes
    charge_ah: float
    energy_wh: float


@cache
def made_ride(power_w: float, seconds: float) -> MadeRide:
    """The skiff at its mooring, at a held power."""
    leg = Leg("pull", seconds, 10.0, power_w=power_w, ramp_s=2.0, steer=Steer.MADE_FAST)
    ride = Ride(SKIFF, HARBOUR_WATER, Rider(max_power_w=1500.0), (leg,), 45.0312, -30.0187)
    options = replace(HARBOUR_LOOP.options, rates_hz=LEAN_RATES_HZ)
    scenario = replace(HARBOUR_LOOP, name="pull", ride=ride, sensors=SENSORS, options=options)
    recording = record(scenario)
    sums = totals(recording.truth)
    log = log_bytes(recording.frames, scenario.start_unix_s)
    return MadeRide(log, sums.charge_ah, sums.energy_wh)


LONG = (400.0, 7200.0)
"""Two hours that take 0.6 of the skiff's own pack of 23.5 Ah, a third of it an hour."""
LONG_PACK_AH = 23.5


def profile_text(pack_ah: float, sensors: str = "", chemistry: str = "li-ion") -> str:
    battery = f'[battery]\nchemistry = "{chemistry}"\ncells = 14\ncapacity_ah = {pack_ah}\n'
    return f"{battery}\n[sensors]\n{sensors}\n"
