"""The frames found in a stretch of bytes: where each one stands, who sent it, and its payload."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from onboard.telemetry.checksum import Bytes, Flags, Ints
from onboard.telemetry.layouts import Layout

ROOM = 300
"""Zero bytes kept behind the data, so that reading a whole frame's width never runs off the end
(the longest frame is 280 bytes)."""

VERSION_2_MARKER = 0xFD
STAMP_BYTES = 8


def with_room(*parts: bytes) -> Bytes:
    """Give the parts as one array of bytes with `ROOM` zero bytes behind them."""
    return np.frombuffer(b"".join((*parts, bytes(ROOM))), np.uint8)


@dataclass(frozen=True)
class Frames:
    """Frames in order of arrival. All arrays have shape (n,).

    Parameters
    ----------
    data
        The bytes that hold them, with `ROOM` bytes to spare.
    marker
        Where each frame's start marker stands in `data`.
    size
        Bytes from the marker to the frame's end, signature included.
    stamp_us
        Time of receipt: microseconds since the Unix epoch.
    message_id, system_id, component_id, sequence
        From the frame's header.
    bad_bytes
        How many bytes between and around these frames form no frame.
    """

    data: Bytes
    marker: Ints
    size: Ints
    stamp_us: Ints
    message_id: Ints
    system_id: Ints
    component_id: Ints
    sequence: Ints
    bad_bytes: int

    def __len__(self) -> int:
        """Give the number of frames."""
        return len(self.marker)

    def where(self, chosen: Flags | Ints) -> "Frames":
        """Give the chosen frames only; `bad_bytes` stays with the whole."""
        return Frames(
            self.data,
            self.marker[chosen],
            self.size[chosen],
            self.stamp_us[chosen],
            self.message_id[chosen],
            self.system_id[chosen],
            self.component_id[chosen],
            self.sequence[chosen],
            0,
        )

    def rows(self, layout: Layout) -> npt.NDArray[Any]:
        """Give the payloads as rows of a message's fields; all frames must be of that message.

        Zero bytes that MAVLink 2 leaves out at a payload's end, and extension fields that an older
        sender does not have, read as zero.

        Returns
        -------
        numpy.ndarray
            Structured array of `layout.fields`, shape (n,).
        """
        width = layout.fields.itemsize
        version_2 = self.data.take(self.marker) == VERSION_2_MARKER
        first = self.marker + np.where(version_2, 10, 6)
        length = self.data.take(self.marker + 1)
        windows: npt.NDArray[Any] = np.ndarray(
            (self.data.size - width + 1,), f"V{width}", self.data, strides=(1,)
        )
        rows = windows[first]
        as_bytes = rows.view(np.uint8).reshape(len(rows), width)
        shortest = int(length.min(initial=255))
        if shortest < width:
            kept = length[:, None] > np.arange(shortest, width)
            as_bytes[:, shortest:] *= kept
        return rows.view(layout.fields)

    def records(self) -> bytes:
        """Give the frames as a telemetry log holds them: stamp, then the frame unaltered.

        The stamp is eight bytes, big-endian, its low two bits clear.
        """
        stamps = (self.stamp_us & ~3).astype(">u8").tobytes()
        data = self.data.tobytes()
        spans = zip(self.marker.tolist(), self.size.tolist(), strict=True)
        return b"".join(
            stamps[STAMP_BYTES * n : STAMP_BYTES * (n + 1)] + data[at : at + size]
            for n, (at, size) in enumerate(spans)
        )


def no_frames(bad_bytes: int = 0) -> Frames:
    """Give an empty set of frames."""
    nothing = np.empty(0, np.int64)
    return Frames(
        with_room(), nothing, nothing, nothing, nothing, nothing, nothing, nothing, bad_bytes
    )
