"""The layout of each MAVLink message: where its fields stand in the payload, and its CRC_EXTRA.

Layouts come from pymavlink's definitions; ESC_STATUS, which those lack, is added here.
ESC_INFO (290) is lacking too and stays an unknown message: two forms of it are about.
"""

import functools
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from onboard.telemetry.mavlink.definitions import DEFINITIONS

HEARTBEAT = 0
SYS_STATUS = 1
SYSTEM_TIME = 2
GPS_RAW_INT = 24
SCALED_IMU = 26
SCALED_PRESSURE = 29
ATTITUDE = 30
ATTITUDE_QUATERNION = 31
LOCAL_POSITION_NED = 32
GLOBAL_POSITION_INT = 33
VFR_HUD = 74
BATTERY_STATUS = 147
RPM = 226
ESC_STATUS = 291
ESC_TELEMETRY_1_TO_4 = 11030

BOOT_CLOCK = (
    SYSTEM_TIME,
    SCALED_IMU,
    SCALED_PRESSURE,
    ATTITUDE,
    ATTITUDE_QUATERNION,
    LOCAL_POSITION_NED,
    GLOBAL_POSITION_INT,
)
"""Messages whose `time_boot_ms` is the autopilot's boot clock at the time of sending. Messages
stamped in microseconds are left out: some autopilots put Unix time there, some the time since boot,
and a GPS message's stamp lags its sending."""

ID_LIMIT = 65536
"""Message ids from here on are taken as unknown; no published definition uses one."""

UNKNOWN_ID = -1


@dataclass(frozen=True)
class Layout:
    """One message's payload.

    Parameters
    ----------
    fields
        The fields in wire order, extensions last, little-endian, without padding.
    crc_extra
        The byte that the checksum ends with.
    """

    fields: np.dtype[Any]
    crc_extra: int


_ADDED_NAMES = {ESC_STATUS: "ESC_STATUS"}

# Field order and CRC_EXTRA as in MAVLink's common message set (its generated C headers).
_ADDED = {
    ESC_STATUS: Layout(
        np.dtype(
            [
                ("time_usec", "<u8"),
                ("rpm", "<i4", (4,)),
                ("voltage", "<f4", (4,)),
                ("current", "<f4", (4,)),
                ("index", "u1"),
            ]
        ),
        10,
    ),
}

_NUMPY_TYPE = {
    "char": "S1",
    "uint8_t": "u1",
    "int8_t": "i1",
    "uint16_t": "<u2",
    "int16_t": "<i2",
    "uint32_t": "<u4",
    "int32_t": "<i4",
    "uint64_t": "<u8",
    "int64_t": "<i8",
    "float": "<f4",
    "double": "<f8",
}


@functools.cache
def layout(message_id: int) -> Layout:
    """Return the layout of a message.

    Raises
    ------
    KeyError
        If no definition has the id.

    Examples
    --------
    >>> layout(HEARTBEAT).fields.itemsize, layout(HEARTBEAT).crc_extra
    (9, 50)
    """
    if message_id in _ADDED:
        return _ADDED[message_id]
    message = DEFINITIONS[message_id]
    columns: list[Any] = []
    for name, kind_in_c, length in message.fields:
        kind = _NUMPY_TYPE[kind_in_c]
        if kind == "S1":
            # Text: one value of so many bytes.
            columns.append((name, f"S{max(length, 1)}"))
        else:
            columns.append((name, kind, (length,)) if length else (name, kind))
    return Layout(np.dtype(columns), message.crc_extra)


def message_name(message_id: int) -> str:
    """Return a message's name in the MAVLink definitions.

    Raises
    ------
    KeyError
        If no definition has the id.
    """
    if message_id in _ADDED_NAMES:
        return _ADDED_NAMES[message_id]
    return DEFINITIONS[message_id].name


@functools.cache
def _numbers() -> dict[str, int]:
    return {message_name(number): number for number in (*DEFINITIONS, *_ADDED_NAMES)}


def message_number(name: str) -> int | None:
    """Return the id of the message of that name, None if no definition has it.

    Examples
    --------
    >>> message_number("ATTITUDE"), message_number("ESC_STATUS"), message_number("attitude")
    (30, 291, None)
    """
    return _numbers().get(name)


@functools.cache
def crc_extras() -> npt.NDArray[np.int16]:
    """Return CRC_EXTRA by message id, `UNKNOWN_ID` where none is defined, shape (65536,)."""
    table = np.full(ID_LIMIT, UNKNOWN_ID, np.int16)
    for message_id, message in DEFINITIONS.items():
        if 0 <= message_id < ID_LIMIT:
            table[message_id] = message.crc_extra
    for message_id, added in _ADDED.items():
        table[message_id] = added.crc_extra
    return table
