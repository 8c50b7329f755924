"""The table of records that fill a channel: the log's units to SI, its 'unknown' marks to NaN.

To add a record, add its converter here and its row to `CONVERT`. Meaning of the fields and values
for 'unknown': from memory, no definition at hand. Otherwise the rules are those of
`onboard.telemetry.messages.table`.
"""

from collections.abc import Callable, Mapping

import numpy as np

from onboard.block import FloatArray
from onboard.telemetry.logs.onboard_log import gps_time
from onboard.telemetry.logs.onboard_log.fields import Fields
from onboard.telemetry.messages.table import UTC_FROM_S, UTC_UNTIL_S, Columns

FIX_2D = 2
NO_DILUTION = 99.99
"""Dilution stated by a receiver without a fix."""

CELLS = "cells", "low_cell", "low_cell_v", "high_cell_v"
"""Columns of `battery` that no record here fills."""

SECOND = {"BAT2": 1, "CUR2": 1, "GPS2": 1, "GPA2": 1}
"""Instance by record name: older logs name the second device of a kind differently."""


HUNDREDTHS = 1e2
"""Volts and amperes of the first CURR records are whole numbers of hundredths, in a letter that
does not say so."""


def battery(fields: Fields) -> Columns:
    """Convert BAT, or CURR of older logs, to `battery`."""
    amps_a = fields.known("Curr", per=_unit(fields, "Curr"))
    charge_out_ah = fields.known("CurrTot", per=1e3)
    energy_out_wh = fields.known("EnrgTot")
    # Without a current sensor the counters mean nothing.
    if fields.has("Curr"):
        charge_out_ah[np.isnan(amps_a)] = np.nan
        energy_out_wh[np.isnan(amps_a)] = np.nan
    left_fraction = fields.known("RemPct", per=1e2)
    left_fraction[~((left_fraction >= 0.0) & (left_fraction <= 1.0))] = np.nan
    return {
        "pack": fields.instance(SECOND.get(fields.name, 0)),
        "volts_v": fields.known("Volt", per=_unit(fields, "Volt")),
        "amps_a": amps_a,
        "charge_out_ah": charge_out_ah,
        "energy_out_wh": energy_out_wh,
        "left_fraction": left_fraction,
        # Zero: no sensor.
        "temperature_degc": fields.known("Temp", 0.0),
        # Cells have a record of their own, which is not read.
        **dict.fromkeys(CELLS, np.full(len(fields), np.nan)),
    }


def _unit(fields: Fields, name: str) -> float:
    return HUNDREDTHS if fields.is_whole(name) else 1.0


def gps(fields: Fields) -> Columns:
    """Convert GPS to `gps`, without accuracies; no position below a 2D fix or at 0, 0."""
    fix = fields.known("Status")
    columns = {
        "fix": fix,
        "latitude_deg": fields.known("Lat"),
        "longitude_deg": fields.known("Lng"),
        "speed_mps": fields.known("Spd"),
        "course_deg": fields.known("GCrs") % 360.0,
        "satellites": fields.known("NSats"),
        "horizontal_sd_m": np.full(len(fields), np.nan),
        "speed_sd_mps": np.full(len(fields), np.nan),
        "dilution": fields.known("HDop", NO_DILUTION),
    }
    nowhere = (columns["latitude_deg"] == 0.0) & (columns["longitude_deg"] == 0.0)
    no_fix = ~(fix >= FIX_2D)
    for name in ("latitude_deg", "longitude_deg", "speed_mps", "course_deg"):
        columns[name][no_fix] = np.nan
    for name in ("latitude_deg", "longitude_deg"):
        columns[name][nowhere] = np.nan
    return columns


def utc_s(fields: Fields) -> FloatArray:
    """Return the Unix time [s] stated by GPS records, NaN where they state none."""
    # The millisecond generation has the time of week where others have the time since boot.
    names = ("GWk", "GMS") if fields.has("GWk") else ("Week", "TimeMS")
    week = fields.known(names[0], 0.0)
    stated: FloatArray = gps_time.utc_s(week, fields.known(names[1]))
    stated[~((stated >= UTC_FROM_S) & (stated <= UTC_UNTIL_S))] = np.nan
    return stated


def attitude(fields: Fields) -> Columns:
    """Convert ATT to `attitude`."""
    return {
        "roll_deg": fields.known("Roll"),
        "pitch_deg": fields.known("Pitch"),
        "heading_deg": fields.known("Yaw") % 360.0,
    }


def fused(fields: Fields) -> Columns:
    """Convert XKF1, NKF1 or EKF1 to `fused`; their position is relative to an unknown origin."""
    return {
        "latitude_deg": np.full(len(fields), np.nan),
        "longitude_deg": np.full(len(fields), np.nan),
        "north_mps": fields.known("VN"),
        "east_mps": fields.known("VE"),
        "heading_deg": fields.known("Yaw") % 360.0,
    }


def drive(fields: Fields) -> Columns:
    """Convert ESC to `drive`; it states the electrical speed."""
    return {
        "motor": fields.instance(0),
        "rpm": np.full(len(fields), np.nan),
        "erpm": fields.known("RPM"),
        "volts_v": fields.known("Volt", 0.0),
        "amps_a": fields.known("Curr"),
        "temperature_degc": fields.known("Temp", 0.0),
    }


def hud(fields: Fields) -> Columns:
    """Convert THR to `hud`."""
    return {
        "speed_mps": np.full(len(fields), np.nan),
        "heading_deg": np.full(len(fields), np.nan),
        "throttle_fraction": fields.known("ThrOut", per=1e2),
    }


CONVERT: Mapping[str, tuple[str, Callable[[Fields], Columns]]] = {
    "BAT": ("battery", battery),
    "BAT2": ("battery", battery),
    "CURR": ("battery", battery),
    "CUR2": ("battery", battery),
    "ATT": ("attitude", attitude),
    "XKF1": ("fused", fused),
    "NKF1": ("fused", fused),
    "EKF1": ("fused", fused),
    "ESC": ("drive", drive),
    "THR": ("hud", hud),
}
"""By record name: the channel that it fills, and its converter. GPS, MODE and ARM need more than
one record; see `receivers` and `modes`."""

RECEIVERS = ("GPS", "GPS2")
ACCURACIES = ("GPA", "GPA2")
