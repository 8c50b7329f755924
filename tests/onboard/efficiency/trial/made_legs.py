"""Legs and seconds with known truth, made directly: no telemetry between."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from onboard.efficiency.trial.double_runs import DoubleRun, binomial_weights
from onboard.efficiency.trial.leg import Leg
from onboard.efficiency.trial.seconds import Seconds

LEG_S, EVERY_S = 100.0, 140.0


def made_leg(
    setup: str = "a",
    start_s: float = 0.0,
    speed_mps: float = 2.0,
    course_deg: float = 0.0,
    power_w: float = 400.0,
    **more: float,
) -> Leg:
    course = math.radians(course_deg)
    values: dict = {
        "outing": 0,
        "seconds_s": LEG_S,
        "power_sd_w": 0.0,
        "speed_sd_mps": 0.0,
        "power_drift_fraction": 0.0,
        "power_swing_fraction": 0.0,
        "amps_a": 16.0,
        "volts_v": 25.0,
    }
    values |= more
    return Leg(
        setup,
        start_s=start_s,
        power_w=power_w,
        speed_mps=speed_mps,
        east_mps=speed_mps * math.sin(course),
        north_mps=speed_mps * math.cos(course),
        **values,
    )


def made_lap(setup: str, start_s: float, speed_mps: float, power_w: float = 400.0) -> Leg:
    """Return a lap of 500 m: it has no course."""
    lap = made_leg(setup, start_s, speed_mps, 0.0, power_w, lap_m=500.0, seconds_s=250.0)
    return replace(lap, east_mps=0.0, north_mps=0.0)


@dataclass(frozen=True)
class Runs:
    """A trial with a known truth: a name for each double run, there and back.

    `water_mps` is along the first course, at the middle of a leg.
    """

    order: str
    speed_mps: dict[str, float] = field(default_factory=lambda: {"a": 2.0, "b": 1.9, "c": 1.8})
    water_mps: Callable[[float], float] = lambda t_s: 0.0
    course_deg: float = 40.0
    legs_each: int = 2
    noise: Sequence[float] = ()
    """Relative error of the speed of each leg [ln]."""
    power_w: Sequence[float] = ()
    """Power of each leg [W]; 400 W by default."""
    slope: float = 0.28

    def legs(self, **more: float) -> list[Leg]:
        found: list[Leg] = []
        for n in range(len(self.order) * self.legs_each):
            setup, start_s = self.order[n // self.legs_each], n * EVERY_S
            power = self.power_w[n] if self.power_w else 400.0
            through = self.speed_mps[setup] * (power / 400.0) ** self.slope
            through *= math.exp(self.noise[n] if len(self.noise) else 0.0)
            water = self.water_mps(start_s + LEG_S / 2.0) * (-1.0 if n % 2 else 1.0)
            course = (self.course_deg + 180.0 * (n % 2)) % 360.0
            found.append(made_leg(setup, start_s, through + water, course, power, **more))
        return found


def doubled(legs: list[Leg], each: int = 2) -> list[DoubleRun]:
    return [
        DoubleRun(
            legs[n].setup,
            legs[n].outing,
            tuple(range(n, n + each)),
            tuple(binomial_weights(each).tolist()),
        )
        for n in range(0, len(legs), each)
    ]


def made_seconds(
    east_mps: Sequence[float] | np.ndarray,
    north_mps: Sequence[float] | np.ndarray | float = 0.0,
    power_w: Sequence[float] | np.ndarray | float = 400.0,
    **more: np.ndarray | float,
) -> Seconds:
    east = np.asarray(east_mps, np.float64)
    nothing = np.full(len(east), np.nan)
    columns = {
        "t_s": np.arange(1.0, len(east) + 1.0),
        "power_w": power_w,
        "amps_a": 16.0,
        "volts_v": 25.0,
        "east_mps": east,
        "north_mps": north_mps,
        "pack_degc": nothing,
        "drive_degc": nothing,
        "rpm": nothing,
        "motor_amps_a": nothing,
        "reported_amps_a": nothing,
    } | more
    return Seconds(
        **{name: np.array(np.broadcast_to(v, len(east)), float) for name, v in columns.items()}
    )
