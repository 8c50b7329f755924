"""Messages about the battery: voltage, current, charge and energy."""

from typing import Any

import pymavlink.dialects.v20.all as dialect

from tests.craft.source import Source

UINT16_MAX = 65535


def _remaining_percent(source: Source, index: int) -> int:
    used = float(source.readings.used_ah[index]) / source.board.capacity_ah
    return max(0, min(100, round(100.0 * (source.board.start_fraction - used))))


def sys_status(source: Source, index: int) -> Any:
    """Return voltage, current and the autopilot's own percentage."""
    return dialect.MAVLink_sys_status_message(
        0, 0, 0, 250,
        round(float(source.readings.volts_v[index]) * 1e3),
        round(float(source.readings.amps_a[index]) * 1e2),
        _remaining_percent(source, index), 0, 0, 0, 0, 0, 0,
    )  # fmt: skip


def cell_fields(volts_v: float, cells: int, each: bool) -> tuple[list[int], list[int]]:
    """Return `voltages` and `voltages_ext` [mV]: unused are 65535 in the first, 0 in the second.

    A pack without cell taps is in the first field; the excess over 65.534 V is in the next.
    """
    if not each or cells > 14:
        pack_mv = round(volts_v * 1e3)
        filled = [pack_mv] if pack_mv < UINT16_MAX else [UINT16_MAX - 1, pack_mv - UINT16_MAX + 1]
    else:
        middle = 0.5 * (cells - 1)
        # Cells of one pack differ slightly; the differences sum to zero.
        filled = [round(volts_v / cells * 1e3 + (i - middle) * 0.8) for i in range(cells)]
    first, rest = filled[:10], filled[10:]
    return first + [UINT16_MAX] * (10 - len(first)), rest + [0] * (4 - len(rest))


def battery_status(source: Source, index: int) -> Any:
    """Return cells, current, and the counters of charge and energy."""
    readings, board = source.readings, source.board
    volts = float(readings.volts_v[index])
    first, rest = cell_fields(volts, board.cells, board.cell_voltages)
    return dialect.MAVLink_battery_status_message(
        0,
        dialect.MAV_BATTERY_FUNCTION_PROPULSION,
        dialect.MAV_BATTERY_TYPE_LIFE if board.lithium_iron else dialect.MAV_BATTERY_TYPE_LION,
        round(float(source.truth.pack_degc[index]) * 1e2),
        first,
        round(float(readings.amps_a[index]) * 1e2),
        round(float(readings.used_ah[index]) * 1e3),
        round(float(readings.used_wh[index]) * 36.0),  # 1 hJ = 100 J
        _remaining_percent(source, index),
        0,
        dialect.MAV_BATTERY_CHARGE_STATE_OK,
        rest,
    )
