"""The MAVLink checksum, CRC-16/MCRF4XX: one frame at a time, or over many frames at once.

Reflected polynomial 0x8408, start value 0xFFFF, nothing added at the end; the check value of
"123456789" is 0x6F91 (catalogue of parametrised CRC algorithms; MAVLink serialisation guide).
It covers everything after the start marker but the checksum itself (and the signature), then one
byte, CRC_EXTRA, that is fixed for a message's layout.
"""

from binascii import crc_hqx
from typing import Any

import numpy as np
import numpy.typing as npt

Bytes = npt.NDArray[np.uint8]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

_REVERSED = bytes(int(f"{byte:08b}"[::-1], 2) for byte in range(256))

FEW_FRAMES = 48
"""Below this many frames a loop over frames is faster than a loop over byte columns (measured)."""


def crc(data: bytes, extra: int | None = None) -> int:
    """Give the checksum of `data`, followed by the byte `extra` where it is given.

    The standard library's CRC has the same polynomial but takes the bits of a byte the other way
    round, so each byte is mirrored on the way in and the result on the way out.

    Examples
    --------
    >>> hex(crc(b"123456789"))
    '0x6f91'
    """
    if extra is not None:
        data = data + bytes((extra,))
    mirrored = crc_hqx(data.translate(_REVERSED), 0xFFFF)
    return _REVERSED[mirrored >> 8] | _REVERSED[mirrored & 255] << 8


def _one_byte_table() -> npt.NDArray[np.uint16]:
    state = np.arange(256, dtype=np.uint16)
    for _ in range(8):
        state = np.where(state & 1, (state >> 1) ^ 0x8408, state >> 1).astype(np.uint16)
    return state


_TABLE = _one_byte_table()
_ALL = np.arange(65536, dtype=np.uint16)
_STEP = (_ALL >> 8) ^ _TABLE[_ALL & 255]
_PAIRS = (_STEP >> 8) ^ _TABLE[_STEP & 255]
"""State after two bytes, by the state before them, the two bytes already mixed in."""


def frames_pass(data: Bytes, marker: Ints, covered: Ints, extra: npt.NDArray[Any]) -> Flags:
    """Tell for each frame whether its checksum is right.

    Parameters
    ----------
    data
        The bytes, with at least one byte of room after the last frame.
    marker
        Where each frame's start marker stands, shape (n,).
    covered
        How many bytes after the marker the checksum covers, shape (n,).
    extra
        CRC_EXTRA of each frame's message, shape (n,).

    Returns
    -------
    numpy.ndarray
        True where the checksum that follows the covered bytes is right, shape (n,).
    """
    if len(marker) < FEW_FRAMES:
        return _frames_pass_singly(data, marker, covered, extra)
    order = np.argsort(-covered, kind="stable")
    length = covered[order]
    first = marker[order] + 1
    # The state and the checksum are both 16 bits wide, so a table step can take two bytes.
    # Overlapping views are indexed, never given to take(), which would copy the whole of them.
    pairs: npt.NDArray[np.uint16] = np.ndarray((data.size - 1,), "<u2", data, strides=(1,))
    state = np.full(len(order), 0xFFFF, np.uint16)
    steps = np.arange(int(length[0]) // 2)
    # With the longest first, the frames still running at a step are the first so many.
    running = np.searchsorted(-length, -(2 * steps + 2), side="right")
    for step, count in zip(steps.tolist(), running.tolist(), strict=True):
        word = pairs[first[:count] + 2 * step]
        state[:count] = _PAIRS.take(state[:count] ^ word)
    odd = np.flatnonzero(length & 1)
    last = data.take(first[odd] + length[odd] - 1)
    state[odd] = (state[odd] >> 8) ^ _TABLE.take((state[odd] ^ last) & 255)
    closing = extra[order].astype(np.uint16)
    state[:] = (state >> 8) ^ _TABLE.take((state ^ closing) & 255)
    passed = np.empty(len(order), np.bool_)
    passed[order] = state == pairs[first + length]
    return passed


def _frames_pass_singly(data: Bytes, marker: Ints, covered: Ints, extra: npt.NDArray[Any]) -> Flags:
    passed = [
        crc(data[at + 1 : at + 1 + length].tobytes(), more)
        == int(data[at + 1 + length]) | int(data[at + 2 + length]) << 8
        for at, length, more in zip(marker.tolist(), covered.tolist(), extra.tolist(), strict=True)
    ]
    return np.array(passed, np.bool_)
