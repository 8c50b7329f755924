"""The soak's craft: a few lines of physics, and the frames that its autopilot makes of them.

It shares no code with the product: its sums are over the values sent, so they are the truth.
"""

import math
import random

import pymavlink.dialects.v20.common as dialect

TICK_S = 0.2
CELLS, CAPACITY_AH, RESISTANCE_OHM = 14, 20.0, 0.08
OCV_V = ((0.0, 3.0), (0.1, 3.4), (0.3, 3.6), (0.6, 3.8), (0.8, 3.97), (1.0, 4.17))
"""Open-circuit voltage of a cell [V] by state of charge: typical of Li-ion, no source."""

CRAFT, STRAY_PACK = 1, 5
BOAT, GENERIC = 11, 0
LATITUDE, LONGITUDE, M_PER_DEG = 45.0, -30.0, 111_320.0


class Craft:
    """Rides in circles with a changing throttle; sums up its energy and distance."""

    def __init__(self, seed: int) -> None:
        self._chance = random.Random(seed)
        self.charge_fraction = 0.98
        self.energy_wh = self.distance_m = self.drawn_ah = 0.0
        self.speed_mps = self.heading_rad = 0.0
        self._turn_radps = 0.02
        self._throttle, self._change_in_s = 0.6, 20.0
        self._north_m = self._east_m = 0.0
        self.rests = False
        self._draw()
        self._before = (self._watts(), self.speed_mps)

    def step(self) -> None:
        """Advance by one tick."""
        self._change_in_s -= TICK_S
        if self._change_in_s <= 0:
            self._change_in_s = self._chance.uniform(10.0, 40.0)
            self._throttle = self._chance.uniform(0.35, 1.0)
            self._turn_radps = self._chance.uniform(-0.03, 0.03)
        aim_mps = 0.0 if self.rests else 3.0 * self._throttle
        self.speed_mps += (aim_mps - self.speed_mps) * TICK_S / 4.0
        if self.rests and self.speed_mps < 0.1:
            self.speed_mps = 0.0
        self.heading_rad = (self.heading_rad + self._turn_radps * TICK_S) % math.tau
        north, east = self.velocity_mps
        self._north_m += north * TICK_S
        self._east_m += east * TICK_S
        self.drawn_ah += self.amps_a * TICK_S / 3600.0
        self.charge_fraction -= self.amps_a * TICK_S / 3600.0 / CAPACITY_AH
        self._draw()
        # Rounded, as it will be sent.
        watts, speed_mps = self._watts(), round(self.speed_mps, 2)
        self.energy_wh += (watts + self._before[0]) / 2 * TICK_S / 3600.0
        self.distance_m += (speed_mps + self._before[1]) / 2 * TICK_S
        self._before = watts, speed_mps

    @property
    def velocity_mps(self) -> tuple[float, float]:
        return (
            self.speed_mps * math.cos(self.heading_rad),
            self.speed_mps * math.sin(self.heading_rad),
        )

    @property
    def position_deg(self) -> tuple[float, float]:
        east_m_per_deg = M_PER_DEG * math.cos(math.radians(LATITUDE))
        return LATITUDE + self._north_m / M_PER_DEG, LONGITUDE + self._east_m / east_m_per_deg

    def _draw(self) -> None:
        watts = 25.0 + 35.0 * self.speed_mps**2.7
        charge = min(max(self.charge_fraction, 0.0), 1.0)
        above = next(n for n, (c, _) in enumerate(OCV_V) if c >= charge) or 1
        (c0, v0), (c1, v1) = OCV_V[above - 1], OCV_V[above]
        ocv_v = CELLS * (v0 + (v1 - v0) * (charge - c0) / (c1 - c0))
        amps = (ocv_v - math.sqrt(ocv_v**2 - 4 * RESISTANCE_OHM * watts)) / (2 * RESISTANCE_OHM)
        self.amps_a = round(amps, 2)
        self.volts_v = round(ocv_v - amps * RESISTANCE_OHM, 3)

    def _watts(self) -> float:
        return self.volts_v * self.amps_a


class Autopilot:
    """Packs the craft's state into unique frames."""

    def __init__(self, system: int = CRAFT) -> None:
        self._link = dialect.MAVLink(None, srcSystem=system, srcComponent=1)
        self._count = 0
        self._drawn_from_ah = 0.0

    def restart(self, craft: Craft) -> None:
        """Count from zero again."""
        self._link.seq = 0
        self._drawn_from_ah = craft.drawn_ah

    def frames(self, craft: Craft, number: int, boot_s: float, utc_s: float) -> list[bytes]:
        """Return the frames of one tick, at a boot clock and UTC [s]."""
        boot_ms, (lat, lon) = round(boot_s * 1000), craft.position_deg
        north, east = (round(100 * part) for part in craft.velocity_mps)
        place = round(lat * 1e7), round(lon * 1e7)
        speed, course = round(100 * craft.speed_mps), round(math.degrees(craft.heading_rad) * 100)
        yaw = (craft.heading_rad + math.pi) % math.tau - math.pi
        made = [
            self.pack(dialect.MAVLink_attitude_message(boot_ms, 0, 0, yaw, 0, 0, 0)),
            self.sys_status(craft.volts_v, craft.amps_a),
            self.pack(
                dialect.MAVLink_gps_raw_int_message(
                    boot_ms * 1000, 3, *place, 0, 90, 90, speed, course % 36000, 12
                )
            ),
            self.pack(
                dialect.MAVLink_global_position_int_message(
                    boot_ms, *place, 0, 0, north, east, 0, course % 36000
                )
            ),
        ]
        if number % 2 == 0:
            drawn_ah = craft.drawn_ah - self._drawn_from_ah
            made.append(self.battery(0, craft.volts_v, craft.amps_a, drawn_ah))
        if number % 5 == 0:
            made.append(
                self.pack(dialect.MAVLink_heartbeat_message(BOAT, GENERIC, 128, self._next(), 4, 3))
            )
            utc_us = round(utc_s * 1e6)
            made.append(self.pack(dialect.MAVLink_system_time_message(utc_us, boot_ms)))
        return made

    def sys_status(self, volts: float, amps: float) -> bytes:
        count = self._next()
        errors = (0, 0, count >> 16 & 0xFFFF, count & 0xFFFF)
        return self.pack(
            dialect.MAVLink_sys_status_message(
                0, 0, 0, 300, round(volts * 1000), round(amps * 100), -1, 0, 0, *errors
            )
        )

    def battery(self, pack: int, volts: float, amps: float, drawn_ah: float) -> bytes:
        cells = [round(volts * 1000)] + [65535] * 9
        return self.pack(
            dialect.MAVLink_battery_status_message(
                pack, 0, 1, 2000, cells, round(amps * 100), round(drawn_ah * 1000), -1, -1
            )
        )

    def pack(self, message) -> bytes:
        frame = bytes(message.pack(self._link))
        self._link.seq = (self._link.seq + 1) % 256
        return frame

    def _next(self) -> int:
        self._count += 1
        return self._count
