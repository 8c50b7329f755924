"""The layout of each MAVLink message: its fields in the payload, its CRC_EXTRA, its name."""

import functools
from typing import Any

import numpy as np
import numpy.typing as npt

from onboard.dataclass import dataclass
from onboard.telemetry.mavlink.definitions import crc_extra_of_all, definition, numbers

HEARTBEAT = 0

ID_LIMIT = 65536
"""Message ids from here on count as unknown; no published definition uses one."""

UNKNOWN_ID = -1

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


@dataclass(frozen=True)
class Layout:
    """The payload of one message.

    Parameters
    ----------
    fields
        The fields in wire order, extensions last, little-endian, without padding.
    crc_extra
        The byte appended to the checksummed bytes.
    """

    fields: np.dtype[Any]
    crc_extra: int


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
    message = definition(message_id)
    columns: list[Any] = []
    for name, kind_in_c, length in message.fields:
        kind = _NUMPY_TYPE[kind_in_c]
        if kind == "S1":
            # Text: one value of that many bytes.
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
    return definition(message_id).name


def message_number(name: str) -> int | None:
    """Return the id of the message called `name`, None if no definition has it.

    Examples
    --------
    >>> message_number("ATTITUDE"), message_number("ESC_STATUS"), message_number("attitude")
    (30, 291, None)
    """
    return numbers().get(name)


@functools.cache
def crc_extras() -> npt.NDArray[np.int16]:
    """Return CRC_EXTRA by message id, `UNKNOWN_ID` where none is defined, shape (65536,)."""
    table = np.full(ID_LIMIT, UNKNOWN_ID, np.int16)
    for message_id, crc_extra in crc_extra_of_all().items():
        if 0 <= message_id < ID_LIMIT:
            table[message_id] = crc_extra
    return table
