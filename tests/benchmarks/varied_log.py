"""An hour of varied riding: speed, power and course change every 20 to 90 seconds.

The fits of the curve and the advice cost by what is ridden, not by the frames: an hour of few
frames and many speeds shows what the long steady hour hides.
"""

import dataclasses
from pathlib import Path

import numpy as np

from tests.craft.mavlink_stream import RATES_HZ, StreamOptions
from tests.craft.recording import record
from tests.craft.rider import Leg
from tests.craft.scenarios import LONG_CRUISE, Scenario
from tests.craft.telemetry_log import log_bytes

SEED = 19
COURSES_DEG = (15.0, 75.0, 135.0, 195.0, 255.0, 315.0)
SHORTEST_S, LONGEST_S = 20.0, 90.0


def varied_scenario(hours: float = 1.0) -> Scenario:
    """Return the long cruise's craft and water with a plan of short legs."""
    rng = np.random.default_rng(SEED)
    legs: list[Leg] = []
    left_s = 3600.0 * hours
    while left_s > SHORTEST_S:
        lasts_s = min(float(rng.uniform(SHORTEST_S, LONGEST_S)), left_s)
        course_deg = float(rng.choice(COURSES_DEG))
        if rng.uniform() < 0.5:
            legs.append(Leg("speed", lasts_s, course_deg, speed_mps=float(rng.uniform(1.0, 2.9))))
        else:
            legs.append(Leg("power", lasts_s, course_deg, power_w=float(rng.uniform(80.0, 700.0))))
        left_s -= lasts_s
    return dataclasses.replace(
        LONG_CRUISE,
        name="varied_hour",
        ride=dataclasses.replace(LONG_CRUISE.ride, plan=tuple(legs)),
        options=StreamOptions(rates_hz={**RATES_HZ, "VFR_HUD": 4.0}),
    )


def varied_log(path: Path, hours: float = 1.0) -> int:
    """Write the ride; return the number of frames."""
    scenario = varied_scenario(hours)
    frames = record(scenario, SEED).frames
    path.write_bytes(log_bytes(frames, scenario.start_unix_s))
    return len(frames)
