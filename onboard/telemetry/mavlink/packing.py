"""Packing of MAVLink 2 frames, and the only three messages that are ever sent.

None of them controls the craft: they announce this computer and request telemetry. No other command
to an autopilot belongs here.
"""

from typing import Any

import numpy as np

from onboard.telemetry.mavlink.checksum import crc
from onboard.telemetry.mavlink.headers import MARKER_2, SIGNED
from onboard.telemetry.mavlink.layouts import HEARTBEAT, layout
from onboard.telemetry.mavlink.signing import Signer

COMMAND_LONG = 76
REQUEST_DATA_STREAM = 66
SET_MESSAGE_INTERVAL = 511
"""MAV_CMD_SET_MESSAGE_INTERVAL, the only command that is ever sent."""

ONBOARD_CONTROLLER, AUTOPILOT_INVALID, STATE_ACTIVE, MAVLINK_VERSION = 18, 8, 4, 3
"""MAV_TYPE, MAV_AUTOPILOT and MAV_STATE of the HEARTBEAT, and its `mavlink_version`."""

PAYLOAD_MOST_BYTES = 255


def pack(
    message_id: int,
    payload: bytes,
    sequence: int,
    system_id: int,
    component_id: int,
    *,
    signer: Signer | None = None,
) -> bytes:
    """Return one MAVLink 2 frame.

    Trailing zero bytes of the payload are truncated, but never its first byte (MAVLink
    serialisation guide).

    Parameters
    ----------
    message_id
        The message; its layout must be known.
    payload
        Its fields in wire order.
    sequence
        The sender's sequence number, 0 to 255.
    system_id, component_id
        The sender.
    signer
        Signs the frame; None leaves it unsigned.

    Raises
    ------
    KeyError
        If no definition has the message.
    ValueError
        If a number or the payload does not fit a frame.

    Examples
    --------
    >>> pack(0, bytes.fromhex("050000000203590303"), 239, 1, 2).hex()
    'fd090000ef01020000000500000002035903032e73'
    """
    if len(payload) > PAYLOAD_MOST_BYTES:
        raise ValueError(f"{len(payload)} bytes of payload: a frame takes {PAYLOAD_MOST_BYTES}")
    extra = layout(message_id).crc_extra
    trimmed = payload.rstrip(b"\0") or payload[:1]
    flags = SIGNED if signer else 0
    header = bytes((len(trimmed), flags, 0, sequence, system_id, component_id))
    body = header + message_id.to_bytes(3, "little") + trimmed
    frame = bytes((MARKER_2,)) + body + crc(body, extra).to_bytes(2, "little")
    return frame + signer.signature(frame) if signer else frame


def heartbeat() -> tuple[int, bytes]:
    """Return HEARTBEAT of an onboard controller, which controls no vehicle."""
    return HEARTBEAT, _payload(
        HEARTBEAT,
        type=ONBOARD_CONTROLLER,
        autopilot=AUTOPILOT_INVALID,
        system_status=STATE_ACTIVE,
        mavlink_version=MAVLINK_VERSION,
    )


def message_interval(
    system_id: int, component_id: int, wanted_id: int, rate_hz: float
) -> tuple[int, bytes]:
    """Return COMMAND_LONG that requests a message from a component at a rate.

    Parameters
    ----------
    system_id, component_id
        Destination: one component, never all (0).
    wanted_id
        The message requested.
    rate_hz
        Rate [1/s]; never 0: the command could turn a message off, too.
    """
    _one_component(system_id, component_id, rate_hz)
    return COMMAND_LONG, _payload(
        COMMAND_LONG,
        command=SET_MESSAGE_INTERVAL,
        target_system=system_id,
        target_component=component_id,
        param1=wanted_id,
        param2=1e6 / rate_hz,
    )


def data_stream(system_id: int, component_id: int, group: int, rate_hz: int) -> tuple[int, bytes]:
    """Return REQUEST_DATA_STREAM, the older request: a group of messages, started at a rate.

    Parameters
    ----------
    system_id, component_id
        Destination: one component, never all (0).
    group
        MAV_DATA_STREAM: one group, never all (0).
    rate_hz
        Rate [1/s].
    """
    _one_component(system_id, component_id, rate_hz)
    if group < 1:
        raise ValueError(f"stream group {group}: expected one group")
    return REQUEST_DATA_STREAM, _payload(
        REQUEST_DATA_STREAM,
        req_message_rate=rate_hz,
        target_system=system_id,
        target_component=component_id,
        req_stream_id=group,
        start_stop=1,
    )


def _one_component(system_id: int, component_id: int, rate_hz: float) -> None:
    if not (1 <= system_id <= 255 and 1 <= component_id <= 255 and rate_hz > 0):
        raise ValueError(f"{system_id}/{component_id} at {rate_hz} Hz: expected one, and a rate")


def _payload(message_id: int, **fields: Any) -> bytes:
    row = np.zeros((), layout(message_id).fields)
    for name, value in fields.items():
        row[name] = value
    return row.tobytes()
