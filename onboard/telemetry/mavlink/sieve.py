"""Find the frames with right checksums in a flood, by prefix CRCs over arrays.

In the worst junk each byte begins a plausible frame of 260 bytes: checked one by one, each byte
would be read 260 times. A CRC is linear over bits, so reading each byte once is enough. The state
after bytes i to j, starting from s, is

    state(i, j, s) = P(j) ^ Z(P(i) ^ s, j - i)

where P(k) is the state after the first k bytes, starting from 0, and Z(s, n) the state after n zero
bytes, starting from s. Z is linear in s too, so a table of 256 for each half of the state and each
n is enough.

States are those of `crc_hqx` over mirrored bytes; see `checksum`.
"""

from binascii import crc_hqx
from functools import cache
from itertools import accumulate
from typing import Any

import numpy as np
import numpy.typing as npt

from onboard.telemetry.mavlink.checksum import MIRRORED, Flags
from onboard.telemetry.mavlink.headers import HEADER_1, HEADER_2, MARKER_1, MARKER_2, SIGNED
from onboard.telemetry.mavlink.layouts import UNKNOWN_ID, crc_extras

LONGEST = 280
"""Length of the longest frame [bytes]."""

ROW_BYTES = 64
"""Bytes of a row: `crc_hqx` steps from row to row, arrays step through all rows at once."""

Words = npt.NDArray[np.uint16]


class _Tables:
    """How a state evolves, and the contribution of each message's CRC_EXTRA."""

    def __init__(self) -> None:
        byte = np.arange(256, dtype=np.uint16)
        adds = np.array([crc_hqx(bytes((byte,)), 0) for byte in range(256)], np.uint16)
        state = np.arange(65536, dtype=np.uint16)
        self.step: Words = (state << 8) ^ adds[state >> 8]
        """Next state, by the state with the byte mixed into its upper half."""
        rows = [np.append(byte << 8, byte)]
        while len(rows) < LONGEST:
            rows.append(self.step[rows[-1]])
        self.zeros: Words = np.concatenate(rows)
        """State after n zero bytes: 512 values for each n, by its upper half, then by its lower."""
        extras = crc_extras()
        self.known: Flags = extras != UNKNOWN_ID
        self.extra: Words = adds[np.frombuffer(MIRRORED, np.uint8)[extras & 255]]
        """By message id."""


_tables = cache(_Tables)


def passing(data: bytes, mirrored: bytes, begin: int, end: int) -> list[int]:
    """Return all places where a frame of a known message with a right checksum begins, in order.

    Parameters
    ----------
    data
        The bytes.
    mirrored
        The same, translated by `MIRRORED`.
    begin, end
        Range of places; at least `LONGEST` bytes follow `end`.
    """
    count, room = end - begin, end - begin + LONGEST
    raw = np.frombuffer(data, np.uint8, room, begin)
    old = np.flatnonzero(raw[:count] == MARKER_1)
    new = np.flatnonzero((raw[:count] == MARKER_2) & (raw[2 : count + 2] <= SIGNED))
    tables = _tables()
    number = raw[new + 7].astype(np.int64)
    number |= raw[new + 8].astype(np.int64) << 8
    number |= raw[new + 9].astype(np.int64) << 16
    found = [
        (marker[known], number[known], header)
        for marker, number, header in ((old, raw[old + 5], HEADER_1), (new, number, HEADER_2))
        if (known := tables.known.take(number, mode="clip")).any()
    ]
    if not found:
        return []
    state = _states(mirrored[begin : begin + room])
    # The remainder is zero where the frame's bytes, its CRC_EXTRA and its checksum agree.
    stored: npt.NDArray[Any] = np.ndarray((room - 1,), ">u2", mirrored, begin, strides=(1,))
    behind = tables.step[state[: room - 1]] ^ stored
    places: list[int] = []
    for marker, ids, header in found:
        covered = raw[marker + 1] + np.int64(header - 1)
        first = marker + 1
        left = state[first] ^ 0xFFFF
        row = (covered + 1) << 9
        left_over = behind[first + covered] ^ tables.extra[ids]
        left_over ^= tables.zeros[row + (left >> 8)]
        left_over ^= tables.zeros[row + (left & 255) + 256]
        places += (marker[left_over == 0] + begin).tolist()
    return sorted(places)


def _states(mirrored: bytes) -> Words:
    """Return the state before each byte, starting from 0 before the first."""
    whole = len(mirrored) // ROW_BYTES + 1
    padded = mirrored.ljust(whole * ROW_BYTES, b"\0")
    rows = [padded[at : at + ROW_BYTES] for at in range(0, len(padded) - ROW_BYTES, ROW_BYTES)]
    step = _tables().step
    states = np.empty((ROW_BYTES, whole), np.uint16)
    states[0] = list(accumulate(rows, lambda state, row: crc_hqx(row, state), initial=0))
    columns = np.frombuffer(padded, np.uint8).reshape(whole, ROW_BYTES).T.astype(np.uint16) << 8
    for n in range(1, ROW_BYTES):
        step.take(states[n - 1] ^ columns[n - 1], out=states[n], mode="clip")
    return states.T.ravel()
