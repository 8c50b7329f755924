"""A whole ride: the plan's legs one after another, step by step, from a seed to its truth."""

import math

import numpy as np

from tests.craft.chance import generator
from tests.craft.craft import Moment, Ride, State
from tests.craft.earth import positions_deg
from tests.craft.motion import SWING_PERIOD_S
from tests.craft.rider import Steer
from tests.craft.step import COLUMNS, step
from tests.craft.truth import Truth, running_integral
from tests.craft.water import surroundings

STEP_S = 0.05
"""20 steps a second: the fastest lag in the model, the helm's, takes sixteen of them."""


def simulate(ride: Ride, seed: int, step_s: float = STEP_S) -> Truth:
    """Ride the plan and give what truly happened."""
    battery = ride.craft.battery
    state = State(
        math.radians(ride.plan[0].course_deg),
        battery.start_fraction,
        battery.temperature_degc,
        ride.craft.drive_idle_degc,
    )
    count = round(sum(leg.duration_s for leg in ride.plan) / step_s) + 1
    around = surroundings(ride.water, count, step_s, seed)
    swing_phase = float(generator(seed, "swing").uniform(0.0, 2.0 * math.pi))
    weather = zip(
        around.current_east_mps.tolist(),
        around.current_north_mps.tolist(),
        around.wind_east_mps.tolist(),
        around.wind_north_mps.tolist(),
        around.wave_mps2.tolist(),
        strict=True,
    )
    rows: list[tuple[float, ...]] = []
    number, leg_start, start_w = 0, 0, 0.0
    for index, forces in enumerate(weather):
        if _ended(ride, state, number, (index - leg_start) * step_s):
            if number + 1 == len(ride.plan):
                break
            number, leg_start, start_w = number + 1, index, state.throttle_w
        swing_rad = 2.0 * math.pi * index * step_s / SWING_PERIOD_S + swing_phase
        in_leg_s = (index - leg_start) * step_s
        moment = Moment(ride.plan[number], in_leg_s, start_w, swing_rad, *forces)
        rows.append((float(number), *step(ride, state, moment, step_s)))
    columns = dict(zip(("leg", *COLUMNS), np.array(rows).T.copy(), strict=True))
    used = len(rows)
    if np.any(columns["motor_volts_v"] > columns["volts_v"]):
        raise ValueError("the plan drives the motor at more than the pack's voltage")
    latitude_deg, longitude_deg = positions_deg(
        ride.latitude_deg, ride.longitude_deg, columns["east_mps"], columns["north_mps"], step_s
    )
    return Truth(
        step_s,
        tuple(leg.name for leg in ride.plan),
        np.arange(used, dtype=np.float64) * step_s,
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        east_m=running_integral(columns["east_mps"], step_s),
        north_m=running_integral(columns["north_mps"], step_s),
        current_east_mps=around.current_east_mps[:used],
        current_north_mps=around.current_north_mps[:used],
        **columns,
    )


def _ended(ride: Ride, state: State, number: int, in_leg_s: float) -> bool:
    """Tell whether the leg is over: its time is up, or the craft is home."""
    leg = ride.plan[number]
    last = number + 1 == len(ride.plan)
    if leg.steer is Steer.HOME and math.hypot(state.east_m, state.north_m) < ride.rider.arrival_m:
        return True
    # The last leg keeps its last instant; any other leaves it to the next.
    return in_leg_s > leg.duration_s + (1e-9 if last else -1e-9)
