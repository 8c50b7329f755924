"""Frames of any message with random payloads, packed from the definitions' layouts."""

import random
import struct

import pymavlink.dialects.v20.all as dialect
from pymavlink.generator.mavcrc import x25crc

from onboard.telemetry.messages.table import MESSAGES

ID = {message.name: number for number, message in MESSAGES.items()}
"""Message ids by name, of the messages in the table."""

SIZES = {
    "char": 1, "uint8_t": 1, "int8_t": 1, "uint16_t": 2, "int16_t": 2, "uint32_t": 4,
    "int32_t": 4, "uint64_t": 8, "int64_t": 8, "float": 4, "double": 8,
}  # fmt: skip


def payload(rng: random.Random, message_id: int) -> bytes:
    """Return random bytes for each field: printable text, finite floats, many zeros."""
    message = dialect.mavlink_map[message_id]
    kinds = dict(zip(message.fieldnames, message.fieldtypes, strict=True))
    parts = []
    for name, length in zip(message.ordered_fieldnames, message.array_lengths, strict=True):
        kind, count = kinds[name], max(length, 1)
        for _ in range(count):
            if rng.random() < 0.3:
                parts.append(bytes(SIZES[kind]))
            elif kind == "char":
                parts.append(bytes([rng.randrange(33, 127)]))
            elif kind in ("float", "double"):
                number = rng.choice([rng.gauss(0, 100), float("nan"), float("-inf"), 1e-40])
                parts.append(struct.pack("<f" if kind == "float" else "<d", number))
            else:
                parts.append(rng.randbytes(SIZES[kind]))
    return b"".join(parts)


def frame(rng: random.Random, message_id: int) -> bytes:
    """Return a MAVLink 2 frame of a random system, with trailing zeros truncated."""
    body = payload(rng, message_id).rstrip(b"\0") or b"\0"
    sequence, system, component = rng.randrange(256), rng.randrange(1, 255), rng.randrange(256)
    head = bytes([len(body), 0, 0, sequence, system, component]) + message_id.to_bytes(3, "little")
    crc = x25crc(head + body)
    crc.accumulate(bytes([dialect.mavlink_map[message_id].crc_extra]))
    return b"\xfd" + head + body + crc.crc.to_bytes(2, "little")
