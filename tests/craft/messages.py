"""All messages that a craft can send, each made from its source at one step."""

from typing import Any

import pymavlink.dialects.v20.all as dialect

from tests.craft.drive_messages import esc_status, esc_telemetry, rpm
from tests.craft.position_messages import attitude, global_position_int, gps_raw_int, vfr_hud
from tests.craft.power_messages import battery_status, sys_status
from tests.craft.source import Source, boot_ms, has_fix, unix_us

SURFACE_BOAT = 11
"""MAV_TYPE_SURFACE_BOAT, minimal.xml."""


def heartbeat(source: Source, index: int) -> Any:
    """Return a heartbeat: armed, under manual control."""
    mode = dialect.MAV_MODE_FLAG_SAFETY_ARMED | dialect.MAV_MODE_FLAG_MANUAL_INPUT_ENABLED
    return dialect.MAVLink_heartbeat_message(
        SURFACE_BOAT, dialect.MAV_AUTOPILOT_GENERIC, mode, 0, dialect.MAV_STATE_ACTIVE, 3
    )


def system_time(source: Source, index: int) -> Any:
    """Return the clocks; Unix time is 0 until the GPS has a fix."""
    known = unix_us(source, index) if has_fix(source, index) else 0
    return dialect.MAVLink_system_time_message(known, boot_ms(source, index))


MAKERS = {
    "HEARTBEAT": heartbeat,
    "SYSTEM_TIME": system_time,
    "SYS_STATUS": sys_status,
    "BATTERY_STATUS": battery_status,
    "GPS_RAW_INT": gps_raw_int,
    "GLOBAL_POSITION_INT": global_position_int,
    "ATTITUDE": attitude,
    "VFR_HUD": vfr_hud,
    "ESC_TELEMETRY_1_TO_4": esc_telemetry,
    "ESC_STATUS": esc_status,
    "RPM": rpm,
}
"""In the order in which an autopilot sends messages due at the same time."""
