"""Telemetry blocks for the engine from true values, rounded as in the messages."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from onboard.block import COLUMNS, Block, Channel
from tests.craft.chance import Array, gauss_markov, generator
from tests.craft.earth import radii_m
from tests.craft.sensors import Sensors
from tests.craft.voyage import Voyage

STEP_S = 0.2
"""Time step of the rides, one fix of a 5 Hz receiver [s]. Energy and distance of a ride differ by
less than 0.1 % from those at 0.05 s, and truth and readings use the same steps."""

BATTERY_EVERY = 2
"""Steps between battery messages, which come at 2.5 Hz."""


@dataclass(frozen=True)
class Extras:
    """What some autopilots report, and others do not."""

    throttle: bool = False
    most_motor_amps_a: float | None = None
    """Motor current at full throttle; None if the throttle is a duty: motor over battery voltage.
    """
    pack_degc: bool = False


class Telemetry:
    """Reads a voyage's sensors as it proceeds; their errors are drawn once for the whole voyage."""

    def __init__(
        self, voyage: Voyage, sensors: Sensors, seed: int, extras: Extras | None = None
    ) -> None:
        self._voyage, self._sensors = voyage, sensors
        self._extras = extras or Extras()
        count, step_s = voyage.count, voyage.step_s
        gps, power = generator(seed, "gps"), generator(seed, "power monitor")

        def velocity() -> Array:
            slow = gauss_markov(
                count, step_s, sensors.velocity_sd_mps, sensors.velocity_memory_s, gps
            )
            return slow + sensors.velocity_noise_mps * gps.standard_normal(count)

        def position() -> Array:
            return gauss_markov(
                count, step_s, sensors.position_sd_m, sensors.position_memory_s, gps
            )

        self._east, self._north = velocity(), velocity()
        self._off_east, self._off_north = position(), position()
        self._amps = sensors.current_noise_a * power.standard_normal(count)
        self._volts = sensors.voltage_noise_v * power.standard_normal(count)
        self._heading = gauss_markov(
            count,
            step_s,
            sensors.heading_sd_deg,
            sensors.heading_memory_s,
            generator(seed, "compass"),
        )
        self._done = 0
        self._charge_ah = self._energy_wh = 0.0
        self._latitude_deg, self._longitude_deg = (
            voyage.ride.latitude_deg,
            voyage.ride.longitude_deg,
        )

    def block(self) -> Block:
        """Return the messages since the last call."""
        first, stop = self._done, self._voyage.index
        if stop <= first:
            return Block({})
        self._done = stop
        true, step_s = self._voyage.columns(first), self._voyage.step_s
        steps = np.arange(first, stop)
        t_s, part = steps * step_s, slice(first, stop)
        sensors = self._sensors
        amps = (true["amps_a"] - sensors.current_offset_a) / sensors.current_scale
        amps = np.maximum(amps + self._amps[part], 0.0)  # the sensor cannot read below zero
        volts = true["volts_v"] / sensors.voltage_scale + self._volts[part]
        charge = self._charge_ah + np.cumsum(amps) * step_s / 3600.0
        energy = self._energy_wh + np.cumsum(amps * volts) * step_s / 3600.0
        self._charge_ah, self._energy_wh = float(charge[-1]), float(energy[-1])
        latitude, longitude = self._positions(true["east_mps"], true["north_mps"], part)
        east, north = true["east_mps"] + self._east[part], true["north_mps"] + self._north[part]
        heading = np.degrees(true["heading_rad"]) + sensors.heading_offset_deg + self._heading[part]
        battery = {
            "pack": np.zeros(len(steps)),
            "volts_v": np.round(volts, 3),
            "amps_a": np.round(amps, 2),
            "charge_out_ah": np.round(charge, 3),
            "energy_out_wh": np.round(energy * 36.0) / 36.0,
        }
        if self._extras.pack_degc:
            battery["temperature_degc"] = np.round(true["pack_degc"])
        sd_mps = np.hypot(sensors.velocity_sd_mps, sensors.velocity_noise_mps)
        gps = {
            "fix": np.full(len(steps), 3.0),
            "latitude_deg": latitude,
            "longitude_deg": longitude,
            "speed_mps": np.round(np.hypot(east, north), 2),
            "course_deg": np.round(np.degrees(np.arctan2(east, north)) % 360.0, 2) % 360.0,
            "satellites": np.full(len(steps), 14.0),
            "horizontal_sd_m": np.full(len(steps), round(sensors.position_sd_m, 3)),
            # No receiver is exact: zero would mean 'not stated'.
            "speed_sd_mps": np.full(len(steps), max(round(float(sd_mps), 3), 0.001)),
            "dilution": np.full(len(steps), 0.85),
        }
        fused = {
            "latitude_deg": latitude,
            "longitude_deg": longitude,
            "north_mps": np.round(north, 2),
            "east_mps": np.round(east, 2),
            "heading_deg": np.round(heading % 360.0, 2) % 360.0,
        }
        hud = {
            "speed_mps": np.round(np.hypot(east, north), 2),
            "heading_deg": np.round(heading) % 360.0,
            "throttle_fraction": np.round(self._throttle(true), 2),
        }
        every = steps % BATTERY_EVERY == 0
        beat = steps % 5 == 0
        throttle = {"hud": _channel("hud", t_s, hud, every)} if self._extras.throttle else {}
        return Block(
            throttle
            | {
                "battery": _channel("battery", t_s, battery, every),
                "power": _channel("power", t_s, battery, ~every),
                "gps": _channel("gps", t_s, gps, np.full(len(steps), True)),
                "fused": _channel("fused", t_s, fused, every),
                "heartbeat": _channel("heartbeat", t_s, {"armed": np.ones(len(steps))}, beat),
            }
        )

    def _throttle(self, true: Mapping[str, Array]) -> Array:
        if self._extras.most_motor_amps_a:
            return true["motor_amps_a"] / self._extras.most_motor_amps_a
        return true["motor_volts_v"] / true["volts_v"]

    def _positions(self, east_mps: Array, north_mps: Array, part: slice) -> tuple[Array, Array]:
        """Return latitudes and longitudes as received, and advance the true position."""
        step_s = self._voyage.step_s
        along, _ = radii_m(np.array([self._latitude_deg]))
        latitude = self._latitude_deg + np.degrees(np.cumsum(north_mps) * step_s / along)
        _, across = radii_m(latitude)
        per_m = np.degrees(1.0 / (across * np.cos(np.radians(latitude))))
        longitude = self._longitude_deg + np.cumsum(east_mps * per_m) * step_s
        self._latitude_deg, self._longitude_deg = float(latitude[-1]), float(longitude[-1])
        latitude = latitude + np.degrees(self._off_north[part] / along)
        return np.round(latitude, 7), np.round(longitude + self._off_east[part] * per_m, 7)


def _channel(name: str, t_s: Array, known: Mapping[str, Any], picked: Any) -> Channel:
    """Return the picked samples of a channel; unknown columns are NaN."""
    unknown = np.full(len(t_s), np.nan)
    columns = {column: known.get(column, unknown)[picked] for column in COLUMNS[name]}
    return Channel(t_s[picked], columns)
