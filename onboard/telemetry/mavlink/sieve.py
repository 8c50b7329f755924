"""Where, among many bytes, frames begin whose checksum is right: for floods, judged by arrays.

In the worst junk each byte begins a plausible frame of 260 bytes: checked one by one, each byte
would be read 260 times. A CRC is linear over bits, so reading each once is enough: the state behind
bytes i to j, begun with s in front of i, is

    state(i, j, s) = P(j) ^ Z(P(i) ^ s, j - i)

where P(k) is the state behind the first k bytes, begun with 0, and Z(s, n) that behind n zero
bytes, begun with s. Z is linear in s too: for each n a row of 256 for each half of the state.

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
"""No frame is longer [bytes]."""

ROW_BYTES = 64
"""Within rows of so many bytes all rows are stepped through at once, from row to row `crc_hqx`."""

Words = npt.NDArray[np.uint16]


class _Tables:
    """What becomes of a state, and what the fixed last byte of each message adds to it."""

    def __init__(self) -> None:
        byte = np.arange(256, dtype=np.uint16)
        adds = np.array([crc_hqx(bytes((one,)), 0) for one in range(256)], np.uint16)
        state = np.arange(65536, dtype=np.uint16)
        self.step: Words = (state << 8) ^ adds[state >> 8]
        """One byte on, by the state, the byte mixed into its upper half before."""
        rows = [np.append(byte << 8, byte)]
        while len(rows) < LONGEST:
            rows.append(self.step[rows[-1]])
        self.zeros: Words = np.concatenate(rows)
        """So many zero bytes on, by 512 a byte, and the upper half, or 256 and the lower."""
        extras = crc_extras()
        self.known: Flags = extras != UNKNOWN_ID
        self.extra: Words = adds[np.frombuffer(MIRRORED, np.uint8)[extras & 255]]
        """By message id."""


_tables = cache(_Tables)


def passing(data: bytes, mirrored: bytes, begin: int, end: int) -> list[int]:
    """Return all places where a frame of a known message begins whose checksum is right, in order.

    Parameters
    ----------
    data
        The bytes.
    mirrored
        The same with `MIRRORED` bits.
    begin, end
        From where to where frames may begin; `LONGEST` bytes or more stand behind `end`.
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
    # What must be left over once a frame's bytes are taken out: its end, one byte further on,
    # and the checksum stored there.
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
    """Return the state in front of each byte, begun with 0 in front of the first."""
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
