"""The truth of a simulated ride: every quantity at every step, and the totals."""

from dataclasses import dataclass

import numpy as np

from tests.craft.chance import Array

SECONDS_PER_HOUR = 3600.0


@dataclass(frozen=True)
class Truth:
    """True values of a ride, one array element per step; battery side, SI units."""

    step_s: float
    leg_names: tuple[str, ...]
    time_s: Array
    leg: Array
    """Index of the leg in the plan."""
    made_fast: Array
    """1 while at a mooring or an anchor."""
    latitude_deg: Array
    longitude_deg: Array
    east_m: Array
    north_m: Array
    east_mps: Array
    north_mps: Array
    """Over ground."""
    water_mps: Array
    """Speed through the water, along the craft."""
    current_east_mps: Array
    current_north_mps: Array
    heading_rad: Array
    turn_radps: Array
    volts_v: Array
    amps_a: Array
    open_circuit_v: Array
    slow_sag_v: Array
    charge_fraction: Array
    drive_w: Array
    """Power into the drive, without the hotel load."""
    motor_rpm: Array
    motor_amps_a: Array
    motor_volts_v: Array
    shaft_w: Array
    """Power out of the motor, before the gear."""
    propeller_w: Array
    thrust_n: Array
    resistance_n: Array
    pack_degc: Array
    drive_degc: Array

    @property
    def power_w(self) -> Array:
        """Battery power."""
        return self.volts_v * self.amps_a

    @property
    def speed_mps(self) -> Array:
        """Speed over ground."""
        return np.hypot(self.east_mps, self.north_mps)

    @property
    def duration_s(self) -> float:
        """From the first step to the last."""
        return float(self.time_s[-1] - self.time_s[0])


def running_integral(rate: Array, step_s: float) -> Array:
    """Return the running integral by the trapezoid rule: starts at 0, length as given."""
    return np.concatenate(([0.0], np.cumsum(0.5 * (rate[1:] + rate[:-1]) * step_s)))


@dataclass(frozen=True)
class Totals:
    """Totals of a ride, or of a part of it."""

    duration_s: float
    energy_wh: float
    charge_ah: float
    distance_m: float
    """Length of the track over ground, including small movements on waves and at a mooring."""
    under_way_distance_m: float
    """The same without movements while made fast."""
    max_speed_mps: float
    mean_power_w: float


def totals(truth: Truth, first: int = 0, last: int | None = None) -> Totals:
    """Return the totals from step `first` to `last`; the whole ride by default."""
    end = len(truth.time_s) - 1 if last is None else last
    part = slice(first, end + 1)

    def total(rate: Array) -> float:
        return float(running_integral(rate[part], truth.step_s)[-1])

    duration_s = float(truth.time_s[end] - truth.time_s[first])
    energy_wh = total(truth.power_w) / SECONDS_PER_HOUR
    return Totals(
        duration_s,
        energy_wh,
        total(truth.amps_a) / SECONDS_PER_HOUR,
        total(truth.speed_mps),
        total(truth.speed_mps * (1.0 - truth.made_fast)),
        float(truth.speed_mps[part].max()),
        energy_wh * SECONDS_PER_HOUR / duration_s if duration_s > 0.0 else 0.0,
    )


def leg_bounds(truth: Truth) -> list[tuple[str, int, int]]:
    """Return name, first and last step of each leg; a leg's last step is the next one's first."""
    changes = np.flatnonzero(np.diff(truth.leg)) + 1
    starts = [0, *changes.tolist()]
    ends = [*changes.tolist(), len(truth.leg) - 1]
    return [
        (truth.leg_names[int(truth.leg[start])], start, end)
        for start, end in zip(starts, ends, strict=True)
    ]
