"""A ride in progress, whose state can be read and whose leg can be changed at any step."""

import math

import numpy as np

from tests.craft.chance import Array, generator
from tests.craft.craft import Moment, Ride, State
from tests.craft.earth import positions_deg
from tests.craft.motion import SWING_PERIOD_S
from tests.craft.rider import Leg
from tests.craft.step import COLUMNS, step
from tests.craft.truth import Truth, running_integral
from tests.craft.water import surroundings


class Voyage:
    """A ride from its first step; weather and water are drawn for all of `longest_s`.

    The caller decides when a `Leg` ends: its duration is ignored here.
    """

    def __init__(self, ride: Ride, seed: int, longest_s: float, step_s: float) -> None:
        battery = ride.craft.battery
        self.ride = ride
        self.step_s = step_s
        self.state = State(
            math.radians(ride.plan[0].course_deg),
            battery.start_fraction,
            battery.temperature_degc,
            ride.craft.drive_idle_degc,
        )
        self.count = round(longest_s / step_s) + 1
        """Number of steps that weather was drawn for."""
        self.index = 0
        """Index of the next step."""
        self._around = surroundings(ride.water, self.count, step_s, seed)
        self._weather = zip(
            self._around.current_east_mps.tolist(),
            self._around.current_north_mps.tolist(),
            self._around.wind_east_mps.tolist(),
            self._around.wind_north_mps.tolist(),
            self._around.wave_mps2.tolist(),
            strict=True,
        )
        self._swing_phase = float(generator(seed, "swing").uniform(0.0, 2.0 * math.pi))
        self._rows: list[tuple[float, ...]] = []
        self._names = [ride.plan[0].name]
        self.leg = ride.plan[0]
        self._leg_start, self._start_w = 0, 0.0

    @property
    def time_s(self) -> float:
        """Time of the next step."""
        return self.index * self.step_s

    @property
    def in_leg_s(self) -> float:
        """Time since the leg was last changed."""
        return (self.index - self._leg_start) * self.step_s

    @property
    def home_m(self) -> float:
        """Straight-line distance to the start of the ride."""
        return math.hypot(self.state.east_m, self.state.north_m)

    def begin(self, leg: Leg) -> None:
        """Change the leg from the next step on."""
        self._names.append(leg.name)
        self.leg, self._leg_start, self._start_w = leg, self.index, self.state.throttle_w

    def one_step(self) -> tuple[float, ...]:
        """Make a step; return its row of `COLUMNS`."""
        forces = next(self._weather)
        swing_rad = 2.0 * math.pi * self.index * self.step_s / SWING_PERIOD_S + self._swing_phase
        moment = Moment(self.leg, self.in_leg_s, self._start_w, swing_rad, *forces)
        row = step(self.ride, self.state, moment, self.step_s)
        self._rows.append((float(len(self._names) - 1), *row))
        self.index += 1
        return row

    def columns(self, first: int = 0) -> dict[str, Array]:
        """Return the record from a step on: `leg` and all `COLUMNS`."""
        rows = np.array(self._rows[first:]).reshape(-1, 1 + len(COLUMNS))
        return dict(zip(("leg", *COLUMNS), rows.T.copy(), strict=True))

    def truth(self) -> Truth:
        """Return the truth so far."""
        columns, used, step_s = self.columns(), self.index, self.step_s
        if np.any(columns["motor_volts_v"] > columns["volts_v"]):
            raise ValueError("the plan drives the motor at more than the pack's voltage")
        latitude_deg, longitude_deg = positions_deg(
            self.ride.latitude_deg,
            self.ride.longitude_deg,
            columns["east_mps"],
            columns["north_mps"],
            step_s,
        )
        return Truth(
            step_s,
            tuple(self._names),
            np.arange(used, dtype=np.float64) * step_s,
            latitude_deg=latitude_deg,
            longitude_deg=longitude_deg,
            east_m=running_integral(columns["east_mps"], step_s),
            north_m=running_integral(columns["north_mps"], step_s),
            current_east_mps=self._around.current_east_mps[:used],
            current_north_mps=self._around.current_north_mps[:used],
            **columns,
        )
