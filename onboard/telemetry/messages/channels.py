"""MAVLink messages to channels: the autopilot's units to SI, its 'unknown' marks to NaN.

Field meanings, units and marks are those of the MAVLink message definitions.
"""

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray
from onboard.telemetry.mavlink import layouts

Rows = npt.NDArray[Any]
Columns = dict[str, FloatArray]

UINT8_UNKNOWN, UINT16_UNKNOWN, INT16_UNKNOWN = 255, 65535, 32767
HJ_PER_WH = 36.0
"""One hectojoule is 100 J; one watt-hour is 3600 J."""

UTC_FROM_S, UTC_UNTIL_S = 946_684_800.0, 4_102_444_800.0
"""The years 2000 to 2100 in Unix time."""

ARMED = 128
"""MAV_MODE_FLAG_SAFETY_ARMED."""


def _known(values: Rows, *unknown: float, per: float = 1.0) -> FloatArray:
    """Return raw / `per` in SI units, NaN where the raw value is one of `unknown`."""
    known = values.astype(np.float64) / per
    for mark in unknown:
        known[values == mark] = np.nan
    return known


def _wrapped_deg(radians: Rows) -> FloatArray:
    with np.errstate(invalid="ignore"):
        wrapped: FloatArray = np.degrees(radians.astype(np.float64)) % 360.0
    return wrapped


def power(rows: Rows) -> Columns:
    """SYS_STATUS to `power`."""
    return {
        "volts_v": _known(rows["voltage_battery"], UINT16_UNKNOWN, per=1e3),
        "amps_a": _known(rows["current_battery"], -1, per=1e2),
        "left_fraction": _known(rows["battery_remaining"], -1, per=1e2),
    }


def battery(rows: Rows) -> Columns:
    """BATTERY_STATUS to `battery`.

    The pack's voltage is the sum of the cells given: where the autopilot knows the pack's voltage
    only, it stands in the first cell, and what is above 65.534 V in the next.
    """
    cells = _known(rows["voltages"], UINT16_UNKNOWN, per=1e3)
    more = _known(rows["voltages_ext"], 0, UINT16_UNKNOWN, per=1e3)
    every = np.concatenate([cells, more], axis=1)
    volts = np.nansum(every, axis=1)
    volts[np.all(np.isnan(every), axis=1)] = np.nan
    return {
        "pack": rows["id"].astype(np.float64),
        "volts_v": volts,
        "amps_a": _known(rows["current_battery"], -1, per=1e2),
        "charge_out_ah": _known(rows["current_consumed"], -1, per=1e3),
        "energy_out_wh": _known(rows["energy_consumed"], -1, per=HJ_PER_WH),
        "left_fraction": _known(rows["battery_remaining"], -1, per=1e2),
        "temperature_degc": _known(rows["temperature"], INT16_UNKNOWN, per=1e2),
    }


def gps(rows: Rows) -> Columns:
    """GPS_RAW_INT to `gps`; unknown below a two-dimensional fix, a position of 0, 0 always."""
    fix = rows["fix_type"].astype(np.float64)
    no_fix = fix < 2
    columns = {
        "fix": fix,
        "latitude_deg": _known(rows["lat"], per=1e7),
        "longitude_deg": _known(rows["lon"], per=1e7),
        "speed_mps": _known(rows["vel"], UINT16_UNKNOWN, per=1e2),
        "course_deg": _known(rows["cog"], UINT16_UNKNOWN, per=1e2),
        "satellites": _known(rows["satellites_visible"], UINT8_UNKNOWN),
        # Zero is what a sender leaves out: no receiver is exact.
        "horizontal_sd_m": _known(rows["h_acc"], 0, per=1e3),
        "speed_sd_mps": _known(rows["vel_acc"], 0, per=1e3),
        "dilution": _known(rows["eph"], UINT16_UNKNOWN, per=1e2),
    }
    for name in ("latitude_deg", "longitude_deg", "speed_mps", "course_deg"):
        columns[name][no_fix] = np.nan
    nowhere = (rows["lat"] == 0) & (rows["lon"] == 0)
    columns["latitude_deg"][nowhere] = np.nan
    columns["longitude_deg"][nowhere] = np.nan
    return columns


def fused(rows: Rows) -> Columns:
    """GLOBAL_POSITION_INT to `fused`; a position of exactly 0, 0 means that there is none yet."""
    latitude = _known(rows["lat"], per=1e7)
    longitude = _known(rows["lon"], per=1e7)
    nowhere = (rows["lat"] == 0) & (rows["lon"] == 0)
    columns = {
        "latitude_deg": latitude,
        "longitude_deg": longitude,
        "north_mps": _known(rows["vx"], per=1e2),
        "east_mps": _known(rows["vy"], per=1e2),
        "heading_deg": _known(rows["hdg"], UINT16_UNKNOWN, per=1e2),
    }
    for name in ("latitude_deg", "longitude_deg", "north_mps", "east_mps"):
        columns[name][nowhere] = np.nan
    return columns


def hud(rows: Rows) -> Columns:
    """VFR_HUD to `hud`."""
    return {
        "speed_mps": rows["groundspeed"].astype(np.float64),
        "heading_deg": rows["heading"].astype(np.float64),
        "throttle_fraction": _known(rows["throttle"], per=1e2),
    }


def attitude(rows: Rows) -> Columns:
    """ATTITUDE to `attitude`."""
    return {
        "roll_deg": np.degrees(rows["roll"].astype(np.float64)),
        "pitch_deg": np.degrees(rows["pitch"].astype(np.float64)),
        "heading_deg": _wrapped_deg(rows["yaw"]),
    }


def drive_telemetry(rows: Rows) -> Columns:
    """ESC_TELEMETRY_1_TO_4 to `drive`: one row for each motor that reports a voltage."""
    count, motors = rows["voltage"].shape
    return {
        "motor": np.tile(np.arange(motors, dtype=np.float64), count),
        "rpm": np.full(count * motors, np.nan),
        "erpm": _known(rows["rpm"]).reshape(-1),
        "volts_v": _known(rows["voltage"], 0, per=1e2).reshape(-1),
        "amps_a": _known(rows["current"], per=1e2).reshape(-1),
        "temperature_degc": _known(rows["temperature"], 0).reshape(-1),
    }


def drive_status(rows: Rows) -> Columns:
    """ESC_STATUS to `drive`: four motors from `index` on."""
    count, motors = rows["voltage"].shape
    first = rows["index"].astype(np.float64)[:, None]
    return {
        "motor": (first + np.arange(motors)).reshape(-1),
        "rpm": _known(rows["rpm"]).reshape(-1),
        "erpm": np.full(count * motors, np.nan),
        "volts_v": _known(rows["voltage"], 0).reshape(-1),
        "amps_a": _known(rows["current"]).reshape(-1),
        "temperature_degc": np.full(count * motors, np.nan),
    }


def turns(rows: Rows) -> Columns:
    """RPM to `drive`: the first sensor, taken for that of the first motor.

    The definition states no mark for 'unknown'; turns below zero are taken for it.
    """
    rpm = rows["rpm1"].astype(np.float64)
    unknown = np.full(len(rpm), np.nan)
    return {
        "motor": np.zeros(len(rpm)),
        "rpm": np.where(rpm >= 0.0, rpm, np.nan),
        "erpm": unknown,
        "volts_v": unknown,
        "amps_a": unknown,
        "temperature_degc": unknown,
    }


def clock(rows: Rows) -> Columns:
    """SYSTEM_TIME to `clock`; a time that cannot be is a clock that was never set."""
    utc_s = _known(rows["time_unix_usec"], per=1e6)
    utc_s[(utc_s < UTC_FROM_S) | (utc_s > UTC_UNTIL_S)] = np.nan
    return {"utc_s": utc_s}


def heartbeat(rows: Rows) -> Columns:
    """HEARTBEAT to `heartbeat`."""
    return {
        "mode": rows["custom_mode"].astype(np.float64),
        "armed": ((rows["base_mode"] & ARMED) > 0).astype(np.float64),
    }


WANTED: Mapping[int, tuple[str, Callable[[Rows], Columns], int]] = {
    layouts.HEARTBEAT: ("heartbeat", heartbeat, 1),
    layouts.SYS_STATUS: ("power", power, 1),
    layouts.SYSTEM_TIME: ("clock", clock, 1),
    layouts.GPS_RAW_INT: ("gps", gps, 1),
    layouts.ATTITUDE: ("attitude", attitude, 1),
    layouts.GLOBAL_POSITION_INT: ("fused", fused, 1),
    layouts.VFR_HUD: ("hud", hud, 1),
    layouts.BATTERY_STATUS: ("battery", battery, 1),
    layouts.RPM: ("drive", turns, 1),
    layouts.ESC_STATUS: ("drive", drive_status, 4),
    layouts.ESC_TELEMETRY_1_TO_4: ("drive", drive_telemetry, 4),
}
"""By message id: the channel it fills, how, and how many rows of it one message gives."""
