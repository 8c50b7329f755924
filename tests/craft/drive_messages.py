"""Messages about the motor and its drive."""

import struct
from typing import Any

import pymavlink.dialects.v20.all as dialect

from tests.craft.source import Source, boot_ms

ESC_STATUS_ID = 291
ESC_STATUS_CRC_EXTRA = 10
"""pymavlink 2.4.50 lacks ESC_STATUS: both are from a generated C header; 57 bytes."""


def esc_telemetry(source: Source, index: int) -> Any:
    """Return the drive's own telemetry. Its rpm field counts electrical turns."""
    truth = source.truth
    volts = float(truth.volts_v[index])
    return dialect.MAVLink_esc_telemetry_1_to_4_message(
        [round(float(truth.drive_degc[index])), 0, 0, 0],
        [round(volts * 1e2), 0, 0, 0],
        [round(float(truth.drive_w[index]) / volts * 1e2), 0, 0, 0],
        [round(float(source.readings.used_ah[index]) * 1e3), 0, 0, 0],
        [round(float(truth.motor_rpm[index]) * source.board.pole_pairs), 0, 0, 0],
        [index % 65536, 0, 0, 0],
    )


def rpm(source: Source, index: int) -> Any:
    """Return the motor's rpm; there is no second sensor."""
    return dialect.MAVLink_rpm_message(float(source.truth.motor_rpm[index]), -1.0)


class EscStatus(dialect.MAVLink_message):  # type: ignore[misc]
    """ESC_STATUS, packed by hand: time, four rpm, four voltages, four currents, index."""

    def __init__(self, payload: bytes) -> None:
        super().__init__(ESC_STATUS_ID, "ESC_STATUS")
        self.payload = payload

    def pack(self, mav: Any, force_mavlink1: bool = False) -> bytes:
        """Return the frame, like other messages."""
        return bytes(
            self._pack(mav, ESC_STATUS_CRC_EXTRA, self.payload, force_mavlink1=force_mavlink1)
        )


def esc_status(source: Source, index: int) -> EscStatus:
    """Return rpm, voltage and motor current of the drive, stamped since boot."""
    truth = source.truth
    return EscStatus(
        struct.pack(
            "<Q4i4f4fB",
            boot_ms(source, index) * 1000,
            round(float(truth.motor_rpm[index])), 0, 0, 0,
            float(truth.volts_v[index]), 0.0, 0.0, 0.0,
            float(truth.motor_amps_a[index]), 0.0, 0.0, 0.0,
            0,
        )
    )  # fmt: skip
