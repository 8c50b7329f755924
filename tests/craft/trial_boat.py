"""A craft on a lake that is ridden step by step, for a rider who obeys a coach.

Cheaper than the simulated craft, like `trial_day`, and with what a trial meets: set-ups that cost
more, a water current, noise from run to run, hands that hold power roughly.
"""

import math

import pymavlink.dialects.v20.all as dialect

from tests.craft.chance import generator
from tests.craft.mavlink_stream import Frame, Sender
from tests.craft.trial_day import BOOT_S, LATITUDE_DEG, LONGITUDE_DEG, METRES_PER_DEGREE, speed_at

STEP_S = 0.2
FOLLOWS_S = 1.5
"""Time constant with which speed follows power [s]."""
TURNS_DEG_PER_S = 15.0


class TrialBoat:
    """The craft.

    Parameters
    ----------
    costs
        Extra Wh/km of each set-up at equal battery power, as a fraction.
    water_mps
        Velocity of the water, east and north.
    run_sd_fraction
        Standard deviation of the speed from one turn or swap to the next.
    """

    def __init__(
        self,
        costs: dict[str, float],
        seed: int,
        water_mps: tuple[float, float] = (0.15, 0.1),
        run_sd_fraction: float = 0.004,
    ) -> None:
        self._costs, self._water, self._run_sd = costs, water_mps, run_sd_fraction
        self._rng = generator(seed, "trial boat")
        self._sender = Sender(1, 1, 2)
        self._step = 0
        self._east_m = self._north_m = self._speed_mps = self._power_w = 0.0
        self._run = 0.0
        self._slip_mps = [0.0, 0.0]
        self.heading_deg = 40.0

    @property
    def t_s(self) -> float:
        """Time ridden so far [s]."""
        return self._step * STEP_S

    def ride(
        self, seconds_s: float, setup: str, power_w: float, heading_deg: float | None = None,
        turn_deg_per_s: float = 0.0,
    ) -> list[Frame]:  # fmt: skip
        """Ride on with a set-up; return the frames sent meanwhile.

        Parameters
        ----------
        seconds_s
            For how long.
        setup
            The set-up's label.
        power_w
            Battery power to hold.
        heading_deg
            Heading to turn to, clockwise, and keep; None to turn at `turn_deg_per_s`.
        """
        frames: list[Frame] = []
        for _ in range(round(seconds_s / STEP_S)):
            frames += self._ride_on(setup, power_w, heading_deg, turn_deg_per_s)
        return frames

    def _ride_on(
        self, setup: str, power_w: float, heading_deg: float | None, turn_deg_per_s: float
    ) -> list[Frame]:
        turn = turn_deg_per_s * STEP_S
        if heading_deg is not None:
            turn = min((heading_deg - self.heading_deg) % 360.0, TURNS_DEG_PER_S * STEP_S)
        if turn > 1.0 or power_w < 50.0:
            self._run = self._run_sd * float(self._rng.standard_normal())
        self.heading_deg = (self.heading_deg + turn) % 360.0
        noise = self._rng.standard_normal(3).tolist()
        self._power_w += (power_w * (1.0 + 0.01 * noise[0]) - self._power_w) * 0.3
        cost = self._costs.get(setup, 0.0)
        through = speed_at(self._power_w, cost) * math.exp(self._run) if power_w > 50.0 else 0.0
        self._speed_mps += (through - self._speed_mps) * STEP_S / FOLLOWS_S
        self._slip_mps = [0.9 * self._slip_mps[n] + 0.012 * noise[n + 1] for n in (0, 1)]
        at = math.radians(self.heading_deg)
        east = self._speed_mps * math.sin(at) + self._water[0] + self._slip_mps[0]
        north = self._speed_mps * math.cos(at) + self._water[1] + self._slip_mps[1]
        self._east_m += east * STEP_S
        self._north_m += north * STEP_S
        found = self._messages(east, north)
        self._step += 1
        return found

    def _messages(self, east: float, north: float) -> list[Frame]:
        boot_ms = round((BOOT_S + self.t_s) * 1e3)
        volts = 26.0 - 0.06 * self._power_w / 25.0 - 1e-4 * self.t_s
        amps = self._power_w / volts
        found: list[dialect.MAVLink_message] = []
        if self._step % 5 == 0:
            found.append(dialect.MAVLink_heartbeat_message(11, 3, 0, 0, 4, 3))
            found.append(dialect.MAVLink_system_time_message(0, boot_ms))
        if self._step % 2 == 0:
            found.append(
                dialect.MAVLink_sys_status_message(
                    0, 0, 0, 200, round(volts * 1e3), round(amps * 100), -1, 0, 0, 0, 0, 0, 0
                )
            )
        latitude = LATITUDE_DEG + self._north_m / METRES_PER_DEGREE
        along = METRES_PER_DEGREE * math.cos(math.radians(LATITUDE_DEG))
        longitude = LONGITUDE_DEG + self._east_m / along
        course = math.degrees(math.atan2(east, north)) % 360.0
        found.append(
            dialect.MAVLink_gps_raw_int_message(
                boot_ms * 1000, 3, round(latitude * 1e7), round(longitude * 1e7), 0, 90, 120,
                round(math.hypot(east, north) * 100), round(course * 100) % 36000, 14,
            )
        )  # fmt: skip
        return [Frame(self.t_s + 0.01, self._sender.pack(one)) for one in found]
