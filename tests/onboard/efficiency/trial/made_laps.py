"""Seconds of days of laps and of ideal rounds; no telemetry between unless it is made."""

import math
from collections.abc import Callable

import numpy as np

from onboard.efficiency.trial.seconds import LogSeconds, Seconds
from onboard.profile import Profile
from onboard.telemetry.mavlink.log_scanner import LogScanner
from onboard.telemetry.messages.decoder import Decoder
from tests.craft.lap_day import LapDay, LapsRidden, ride
from tests.craft.mavlink_stream import Frame
from tests.craft.telemetry_log import log_bytes
from tests.craft.trial_day import Setup
from tests.onboard.efficiency.trial.made_legs import made_seconds

ONE = {"a": Setup()}
EACH_S = 5
"""Samples a second of a simulated day."""
FINE = 50
"""Steps a second of an ideal round."""


def day(**more: object) -> tuple[Seconds, LapsRidden]:
    """Return the seconds and the truth of a day, of one set-up unless stated."""
    seed = int(more.pop("seed", 1))  # type: ignore[call-overload]
    values: dict = {"setups": ONE, "order": ("a",)} | more
    ridden = ride(LapDay(**values), seed)
    count = len(ridden.columns) // EACH_S
    means = ridden.columns[: count * EACH_S].reshape(count, EACH_S, -1).mean(axis=1)
    return made_seconds(means[:, 2], means[:, 3], means[:, 1], volts_v=means[:, 4]), ridden


def seconds_of(frames: list[Frame]) -> Seconds:
    """Return the seconds of a log."""
    gathering, decoder = LogSeconds(Profile()), Decoder()
    data = log_bytes(frames, 1_750_000_000.0)
    gathering.fold(decoder.push(LogScanner().push(data, final=True)))
    gathering.fold(decoder.finish())
    return gathering.seconds()


def ideal_round(
    heading: Callable[[float], float],
    length_m: float,
    through_mps: float,
    water_mps: tuple[float, float] = (0.0, 0.0),
    rounds: float = 1.0,
) -> Seconds:
    """Return the seconds of rounds whose course is held over ground, without any noise.

    `heading` gives the course over ground [rad] by the share of a round.
    """
    found: list[tuple[float, float]] = []
    s_m = 0.0
    while s_m < rounds * length_m:
        course = heading(s_m / length_m % 1.0)
        east, north = math.sin(course), math.cos(course)
        along = water_mps[0] * east + water_mps[1] * north
        across = water_mps[0] * north - water_mps[1] * east
        ground = along + math.sqrt(through_mps**2 - across**2)
        found.append((ground * east, ground * north))
        s_m += ground / FINE
    fine = np.array(found[: len(found) // FINE * FINE]).reshape(-1, FINE, 2).mean(axis=1)
    return made_seconds(fine[:, 0], fine[:, 1])


def circle(share: float) -> float:
    return 2.0 * math.pi * share


def out_and_back(share: float) -> float:
    return 0.0 if share < 0.5 else math.pi


def square(share: float) -> float:
    return math.floor(share * 4.0) * math.pi / 2.0
