"""Messages about position and motion: GPS, the autopilot's own estimate, and heading."""

import math
from typing import Any

import pymavlink.dialects.v20.all as dialect

from tests.craft.source import Source, boot_ms, has_fix, unix_us

UINT16_MAX = 65535


def gps_raw_int(source: Source, index: int) -> Any:
    """Return the last fix, `gps_latency_s` old when sent; without a fix all fields are unknown."""
    if not has_fix(source, index):
        boot_us = boot_ms(source, index) * 1000
        return dialect.MAVLink_gps_raw_int_message(
            boot_us, 1, 0, 0, 0, UINT16_MAX, UINT16_MAX, UINT16_MAX, UINT16_MAX, 255
        )
    age = round(source.sensors.gps_latency_s / source.truth.step_s)
    at = max(index - age, 0)
    readings = source.readings
    east, north = float(readings.east_mps[at]), float(readings.north_mps[at])
    sensors = source.sensors
    return dialect.MAVLink_gps_raw_int_message(
        unix_us(source, at),
        3,
        round(float(readings.latitude_deg[at]) * 1e7),
        round(float(readings.longitude_deg[at]) * 1e7),
        600,
        85,
        120,
        round(math.hypot(east, north) * 1e2),
        round(math.degrees(math.atan2(east, north)) % 360.0 * 1e2) % 36000,
        14,
        alt_ellipsoid=600,
        h_acc=round(math.hypot(sensors.position_sd_m, sensors.position_noise_m) * 1e3),
        v_acc=2100,
        vel_acc=round(math.hypot(sensors.velocity_sd_mps, sensors.velocity_noise_mps) * 1e3),
        hdg_acc=200000,
    )


def global_position_int(source: Source, index: int) -> Any:
    """Return the autopilot's own position and velocity; None before the first fix."""
    if not has_fix(source, index):
        return None
    readings = source.readings
    return dialect.MAVLink_global_position_int_message(
        boot_ms(source, index),
        round(float(readings.latitude_deg[index]) * 1e7),
        round(float(readings.longitude_deg[index]) * 1e7),
        600,
        0,
        round(float(readings.fused_north_mps[index]) * 1e2),
        round(float(readings.fused_east_mps[index]) * 1e2),
        0,
        round(float(readings.heading_deg[index]) * 1e2) % 36000,
    )


def attitude(source: Source, index: int) -> Any:
    """Return heading and rate of turn; a craft heels a little in its turns."""
    yaw = math.radians(float(source.readings.heading_deg[index]))
    yaw = (yaw + math.pi) % (2.0 * math.pi) - math.pi
    turn = float(source.truth.turn_radps[index])
    return dialect.MAVLink_attitude_message(
        boot_ms(source, index), 0.3 * turn, 0.01, yaw, 0.0, 0.0, turn
    )


def vfr_hud(source: Source, index: int) -> Any:
    """Return speed over ground and throttle."""
    readings = source.readings
    fused = math.hypot(
        float(readings.fused_east_mps[index]), float(readings.fused_north_mps[index])
    )
    throttle = round(100.0 * float(source.truth.drive_w[index]) / source.board.max_power_w)
    heading = round(float(readings.heading_deg[index])) % 360
    speed = fused if has_fix(source, index) else 0.0
    return dialect.MAVLink_vfr_hud_message(0.0, speed, heading, throttle, 0.6, 0.0)
