"""The MAVLink checksum, CRC-16/MCRF4XX: one frame at a time, or over many frames at once.

Reflected polynomial 0x8408, start value 0xFFFF, nothing added at the end; the check value of
"123456789" is 0x6F91 (catalogue of parametrised CRC algorithms; MAVLink serialisation guide).
It covers everything after the start marker but the checksum itself (and the signature), then one
byte, CRC_EXTRA, that is fixed for a message's layout.
"""

from binascii import crc_hqx
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

Bytes = npt.NDArray[np.uint8]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

MIRRORED = bytes(int(f"{byte:08b}"[::-1], 2) for byte in range(256))
"""Each byte with its bits reversed: the standard library's CRC has the same polynomial, but takes
the bits in that order."""

AT_ONCE = 4096
"""Frames checked in one batch: their bytes, laid out in columns, still fit a cache."""

LONG = 64
"""Frames with more covered bytes than this are checked in batches of their own: a few of them would
widen the table for all others."""


def crc(data: bytes, extra: int | None = None) -> int:
    """Return the checksum of `data`, followed by the byte `extra` where it is given.

    Examples
    --------
    >>> hex(crc(b"123456789"))
    '0x6f91'
    """
    if extra is not None:
        data = data + bytes((extra,))
    mirrored = crc_hqx(data.translate(MIRRORED), 0xFFFF)
    return MIRRORED[mirrored >> 8] | MIRRORED[mirrored & 255] << 8


def _one_byte_table() -> npt.NDArray[np.uint16]:
    state = np.arange(256, dtype=np.uint16)
    for _ in range(8):
        state = np.where(state & 1, (state >> 1) ^ 0x8408, state >> 1).astype(np.uint16)
    return state


_TABLE = _one_byte_table()
_ALL = np.arange(65536, dtype=np.uint16)
_STEP = (_ALL >> 8) ^ _TABLE[_ALL & 255]
_PAIRS = (_STEP >> 8) ^ _TABLE[_STEP & 255]
"""State after two bytes, by the state before them with the two bytes mixed in."""


def frames_pass(data: Bytes, marker: Ints, covered: Ints, extra: npt.NDArray[Any]) -> Flags:
    """Return for each frame whether its checksum is right.

    Parameters
    ----------
    data
        The bytes, with `frames.ROOM` bytes to spare after the last frame's marker.
    marker
        Offset of each frame's start marker, shape (n,).
    covered
        Number of bytes after the marker that the checksum covers, shape (n,).
    extra
        CRC_EXTRA of each frame's message, shape (n,).

    Returns
    -------
    numpy.ndarray
        True where the checksum behind the covered bytes is right, shape (n,).
    """
    passed = np.empty(len(marker), np.bool_)
    # Longest first: the frames not yet done at a step are then a prefix.
    order = np.argsort(covered.astype(np.int16), kind="stable")[::-1]
    long = int(np.count_nonzero(covered > LONG))
    begins = [*range(0, long, AT_ONCE), *range(long, len(order), AT_ONCE), len(order)]
    for begin, end in pairwise(begins):
        part = order[begin:end]
        passed[part] = _pass(data, marker.take(part) + 1, covered.take(part), extra.take(part))
    return passed


def _pass(data: Bytes, first: Ints, length: Ints, extra: npt.NDArray[Any]) -> Flags:
    """Check frames by offset and number of the covered bytes, longest first."""
    # Overlapping views are indexed, never passed to take(), which would copy all of them.
    width = (int(length[0]) + 1) // 2 * 2
    windows: npt.NDArray[Any] = np.ndarray(
        (data.size - width + 1,), f"V{width}", data, strides=(1,)
    )
    words = np.ascontiguousarray(windows[first].view("<u2").reshape(-1, width // 2).T)
    # The state is 16 bits wide, so one table step can take two bytes.
    state, mixed = np.full(len(first), 0xFFFF, np.uint16), np.empty(len(first), np.uint16)
    steps = np.arange(int(length[0]) // 2)
    running = np.searchsorted(-length, -(2 * steps + 2), side="right")
    for word, count in zip(words, running.tolist(), strict=False):
        np.bitwise_xor(state[:count], word[:count], out=mixed[:count])
        # No index can be out of bounds: 'clip' only saves the check.
        _PAIRS.take(mixed[:count], out=state[:count], mode="clip")
    odd = np.flatnonzero(length & 1)
    last = words[length[odd] >> 1, odd]
    state[odd] = (state[odd] >> 8) ^ _TABLE.take((state[odd] ^ last) & 255)
    state[:] = (state >> 8) ^ _TABLE.take((state ^ extra.astype(np.uint16)) & 255)
    stored: npt.NDArray[np.uint16] = np.ndarray((data.size - 1,), "<u2", data, strides=(1,))
    right: Flags = state == stored[first + length]
    return right
