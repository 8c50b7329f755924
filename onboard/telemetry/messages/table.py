"""The table of MAVLink messages: one row for each message that is decoded or requested.

A row names the message and states all that the rest of the program needs to know of it: the channel
it fills and how, whether it carries the boot clock, and how often to request it. Decoder, time base
and requests ask this table. To add a message, add its row and converter here, and the channel's
columns to `onboard.block` where they are new. A message that pymavlink lacks also needs its
definition in `onboard.telemetry.mavlink.definitions`, because frames are checked with it.

Converters turn the autopilot's units into SI and its 'unknown' marks into NaN. Field meanings,
units and marks are those of the MAVLink message definitions.
"""

from collections.abc import Callable, Mapping
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray
from onboard.dataclass import dataclass
from onboard.telemetry.mavlink.layouts import message_number

Rows = npt.NDArray[Any]
Columns = dict[str, FloatArray]

UINT8_UNKNOWN, UINT16_UNKNOWN, INT16_UNKNOWN = 255, 65535, 32767
HJ_PER_WH = 36.0
"""Hectojoules per watt-hour: 1 hJ is 100 J, 1 Wh is 3600 J."""

UTC_FROM_S, UTC_UNTIL_S = 946_684_800.0, 4_102_444_800.0
"""Plausible Unix time [s]: the years 2000 to 2100."""

ARMED = 128
"""MAV_MODE_FLAG_SAFETY_ARMED."""

RAW_SENSORS, EXTENDED_STATUS, POSITION, EXTRA_1, EXTRA_2, EXTRA_3 = 1, 2, 6, 10, 11, 12
"""MAV_DATA_STREAM, the message groups of REQUEST_DATA_STREAM. The definitions place GPS_RAW and
GLOBAL_POSITION_INT only and leave the rest to the autopilot; the other groups are common practice,
no source."""


@dataclass(frozen=True)
class Message:
    """One row of the table.

    Parameters
    ----------
    name
        Name in the MAVLink definitions.
    channel
        Channel that it fills; empty for a message that only carries the boot clock.
    convert
        Converts rows of its fields to the channel's columns.
    samples
        Samples of the channel in one message.
    present
        Column that is NaN in a sample of a device that is not fitted; such samples are left out.
    boot_clock
        Whether its `time_boot_ms` is the autopilot's boot clock at the time of sending. False for
        messages stamped in microseconds: some autopilots put Unix time there, some the time since
        boot, and a GPS message's stamp lags its sending.
    rate_hz
        Rate to request [1/s]; 0: never requested.
    groups
        Stream groups that may hold it, for autopilots that know only REQUEST_DATA_STREAM.
    optional
        Not every craft has it; one optional message of a channel is enough.
    """

    name: str
    channel: str = ""
    convert: Callable[[Rows], Columns] | None = None
    samples: int = 1
    present: str = ""
    boot_clock: bool = False
    rate_hz: float = 0.0
    groups: tuple[int, ...] = ()
    optional: bool = False

    @cached_property
    def id(self) -> int:
        """Message id."""
        number = message_number(self.name)
        assert number is not None, self.name
        return number


def _known(values: Rows, *unknown: float, per: float = 1.0) -> FloatArray:
    """Return `values` / `per` in SI units, NaN where the raw value is one of `unknown`."""
    known = values.astype(np.float64) / per
    for mark in unknown:
        known[values == mark] = np.nan
    return known


def _wrapped_deg(radians: Rows) -> FloatArray:
    with np.errstate(invalid="ignore"):
        wrapped: FloatArray = np.degrees(radians.astype(np.float64)) % 360.0
    return wrapped


def power(rows: Rows) -> Columns:
    """Convert SYS_STATUS to `power`."""
    return {
        "volts_v": _known(rows["voltage_battery"], UINT16_UNKNOWN, per=1e3),
        "amps_a": _known(rows["current_battery"], -1, per=1e2),
        "left_fraction": _known(rows["battery_remaining"], -1, per=1e2),
    }


def battery(rows: Rows) -> Columns:
    """Convert BATTERY_STATUS to `battery`.

    The pack's voltage is the sum of the stated cells: an autopilot that knows only the pack's
    voltage states it as the first cell, and the excess over 65.534 V as the next.
    """
    cells = _known(rows["voltages"], UINT16_UNKNOWN, per=1e3)
    further = _known(rows["voltages_ext"], 0, UINT16_UNKNOWN, per=1e3)
    every = np.concatenate([cells, further], axis=1)
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
        **_extremes(every),
    }


def _extremes(every: FloatArray) -> Columns:
    """Return how many voltages are stated, and the lowest and highest; an only one is the pack's.

    That several are those of cells is for the reader to tell, who knows how many the pack has.
    """
    stated = np.isfinite(every)
    count = stated.sum(axis=1).astype(np.float64)
    low, high = np.where(stated, every, np.inf), np.where(stated, every, -np.inf)
    columns = {
        "low_cell": low.argmin(axis=1) + 1.0,
        "low_cell_v": low.min(axis=1),
        "high_cell_v": high.max(axis=1),
    }
    return {"cells": count, **{k: np.where(count > 1, v, np.nan) for k, v in columns.items()}}


def gps(rows: Rows) -> Columns:
    """Convert GPS_RAW_INT to `gps`.

    Position and speed are unknown below a 2D fix; a position of 0, 0 is unknown always.
    """
    fix = rows["fix_type"].astype(np.float64)
    no_fix = fix < 2
    columns = {
        "fix": fix,
        "latitude_deg": _known(rows["lat"], per=1e7),
        "longitude_deg": _known(rows["lon"], per=1e7),
        "speed_mps": _known(rows["vel"], UINT16_UNKNOWN, per=1e2),
        "course_deg": _known(rows["cog"], UINT16_UNKNOWN, per=1e2),
        "satellites": _known(rows["satellites_visible"], UINT8_UNKNOWN),
        # Zero means the sender left it out: no receiver is exact.
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
    """Convert GLOBAL_POSITION_INT to `fused`; a position of exactly 0, 0 means none yet."""
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
    """Convert VFR_HUD to `hud`."""
    return {
        "speed_mps": rows["groundspeed"].astype(np.float64),
        "heading_deg": rows["heading"].astype(np.float64),
        "throttle_fraction": _known(rows["throttle"], per=1e2),
    }


def attitude(rows: Rows) -> Columns:
    """Convert ATTITUDE to `attitude`."""
    return {
        "roll_deg": np.degrees(rows["roll"].astype(np.float64)),
        "pitch_deg": np.degrees(rows["pitch"].astype(np.float64)),
        "heading_deg": _wrapped_deg(rows["yaw"]),
    }


def esc_telemetry(rows: Rows) -> Columns:
    """Convert ESC_TELEMETRY_1_TO_4 to `drive`: four motors, those not fitted without a voltage."""
    count, motors = rows["voltage"].shape
    return {
        "motor": np.tile(np.arange(motors, dtype=np.float64), count),
        "rpm": np.full(count * motors, np.nan),
        "erpm": _known(rows["rpm"]).reshape(-1),
        "volts_v": _known(rows["voltage"], 0, per=1e2).reshape(-1),
        "amps_a": _known(rows["current"], per=1e2).reshape(-1),
        "temperature_degc": _known(rows["temperature"], 0).reshape(-1),
    }


def esc_status(rows: Rows) -> Columns:
    """Convert ESC_STATUS to `drive`: four motors, the first of them `index`."""
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


def revolutions(rows: Rows) -> Columns:
    """Convert RPM to `drive`: the first sensor, assigned to the first motor.

    The definition has no mark for 'unknown'; negative values are taken as such.
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
    """Convert SYSTEM_TIME to `clock`; an implausible time is a clock that was never set."""
    utc_s = _known(rows["time_unix_usec"], per=1e6)
    utc_s[(utc_s < UTC_FROM_S) | (utc_s > UTC_UNTIL_S)] = np.nan
    return {"utc_s": utc_s}


def heartbeat(rows: Rows) -> Columns:
    """Convert HEARTBEAT to `heartbeat`."""
    return {
        "mode": rows["custom_mode"].astype(np.float64),
        "armed": ((rows["base_mode"] & ARMED) > 0).astype(np.float64),
    }


_ROWS = (
    Message("HEARTBEAT", "heartbeat", heartbeat),
    Message("SYS_STATUS", "power", power, rate_hz=2.0, groups=(EXTENDED_STATUS,)),
    Message("BATTERY_STATUS", "battery", battery, rate_hz=2.0, groups=(EXTRA_3,)),
    Message("GPS_RAW_INT", "gps", gps, rate_hz=5.0, groups=(EXTENDED_STATUS, RAW_SENSORS)),
    Message(
        "GLOBAL_POSITION_INT", "fused", fused, boot_clock=True, rate_hz=5.0, groups=(POSITION,)
    ),
    Message("ATTITUDE", "attitude", attitude, boot_clock=True, rate_hz=4.0, groups=(EXTRA_1,)),
    Message("VFR_HUD", "hud", hud, rate_hz=2.0, groups=(EXTRA_2,)),
    Message("SYSTEM_TIME", "clock", clock, boot_clock=True, rate_hz=1.0, groups=(EXTRA_3,)),
    # A motor without a voltage is not fitted; a sensor of revolutions states none.
    Message(
        "ESC_TELEMETRY_1_TO_4", "drive", esc_telemetry,
        samples=4, present="volts_v", rate_hz=2.0, optional=True,
    ),
    Message(
        "ESC_STATUS", "drive", esc_status,
        samples=4, present="volts_v", rate_hz=2.0, optional=True,
    ),
    Message("RPM", "drive", revolutions, present="rpm"),
    Message("SCALED_IMU", boot_clock=True),
    Message("SCALED_PRESSURE", boot_clock=True),
    Message("ATTITUDE_QUATERNION", boot_clock=True),
    Message("LOCAL_POSITION_NED", boot_clock=True),
)  # fmt: skip
"""The rows; messages are requested in this order."""

MESSAGES: Mapping[int, Message] = {message.id: message for message in _ROWS}
"""The table, by message id."""

REQUESTED: Mapping[int, Message] = {
    number: message for number, message in MESSAGES.items() if message.rate_hz
}
"""The messages that are requested where they do not come often enough by themselves."""


def boot_clock_s(rows: Rows) -> FloatArray:
    """Return the boot clock [s] of messages that carry it, NaN where it is not running."""
    stamp_ms = rows["time_boot_ms"]
    return np.where(stamp_ms > 0, stamp_ms * 1e-3, np.nan)
