"""The frames found in a stretch of bytes: offset, sender and payload of each."""

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

from onboard.dataclass import dataclass
from onboard.telemetry.mavlink import headers
from onboard.telemetry.mavlink.checksum import Bytes, Flags, Ints
from onboard.telemetry.mavlink.layouts import ID_LIMIT, Layout

ROOM = 300
"""Zero bytes behind the data, so that a read of the longest frame (280 bytes) stays inside."""

_ROOM = bytes(ROOM)

STAMP_BYTES = 8


def with_room(*parts: bytes) -> Bytes:
    """Return the parts as one array of bytes with `ROOM` zero bytes behind them."""
    return np.frombuffer(b"".join((*parts, _ROOM)), np.uint8)


@dataclass(frozen=True)
class Frames:
    """Frames in order of arrival. All arrays have shape (n,).

    Parameters
    ----------
    data
        The bytes that hold them, with `ROOM` bytes to spare.
    marker
        Offset of each frame's start marker in `data`.
    size
        Bytes from the marker to the frame's end, signature included.
    stamp_us
        Time of receipt [us since the Unix epoch].
    word
        The header; see `headers`.
    message_id
        Message id.
    bad_bytes
        Number of bytes between and around these frames that form no frame.
    """

    data: Bytes
    marker: Ints
    size: Ints
    stamp_us: Ints
    word: Ints
    message_id: Ints
    bad_bytes: int

    def __len__(self) -> int:
        """Return the number of frames."""
        return len(self.marker)

    @property
    def sequence(self) -> Ints:
        """The senders' sequence numbers, 0 to 255."""
        return headers.sequences(self.word)

    @property
    def system_id(self) -> Ints:
        """The senders' systems."""
        return headers.system_ids(self.word)

    @property
    def component_id(self) -> Ints:
        """The senders' components."""
        return headers.component_ids(self.word)

    def where(self, chosen: Flags | Ints) -> "Frames":
        """Return the chosen frames only, with no `bad_bytes`."""
        return Frames(
            self.data,
            self.marker[chosen],
            self.size[chosen],
            self.stamp_us[chosen],
            self.word[chosen],
            self.message_id[chosen],
            0,
        )

    def by_message(self) -> Iterator[tuple[int, Ints]]:
        """Return each message id among the frames, with the indices of its frames, in order.

        Ids from `ID_LIMIT` on, which no definition has, are mapped to one below it.
        """
        ids = np.minimum(self.message_id, ID_LIMIT - 1).astype(np.uint16)
        order = np.argsort(ids, kind="stable")
        ordered = ids.take(order)
        ends = np.flatnonzero(ordered[1:] != ordered[:-1]) + 1
        for begin, end in pairwise([0, *ends.tolist(), len(ids)] if len(ids) else []):
            yield int(ordered[begin]), order[begin:end]

    def rows(self, layout: Layout, place: Ints | None = None) -> npt.NDArray[Any]:
        """Return the payloads as rows of a message's fields.

        Zero bytes that MAVLink 2 cuts off a payload's end, and extension fields that an older
        sender does not know, read as zero.

        Parameters
        ----------
        layout
            The message.
        place
            Indices of frames, all of that message, shape (m,); None for all frames.

        Returns
        -------
        numpy.ndarray
            Structured array of `layout.fields`, shape (m,).
        """
        word, marker = self.word, self.marker
        if place is not None:
            word, marker = word.take(place), marker.take(place)
        width = layout.fields.itemsize
        windows: npt.NDArray[Any] = np.ndarray(
            (self.data.size - width + 1,), f"V{width}", self.data, strides=(1,)
        )
        rows: npt.NDArray[Any] = windows[marker + headers.header_bytes(word)]
        length = headers.payload_bytes(word)
        shortest = int(length.min(initial=255))
        if shortest < width:
            as_bytes = rows.view(np.uint8).reshape(len(rows), width)
            is_payload = length[:, None] > np.arange(shortest, width)
            as_bytes[:, shortest:] *= is_payload
        return rows.view(layout.fields)

    def records(self) -> bytes:
        """Return the frames as a telemetry log holds them: a stamp, then the unaltered frame.

        The stamp is eight bytes, big-endian, its low two bits clear.
        """
        stamps = (self.stamp_us & ~3).astype(">u8").tobytes()
        data = self.data.tobytes()
        spans = zip(self.marker.tolist(), self.size.tolist(), strict=True)
        return b"".join(
            stamps[STAMP_BYTES * n : STAMP_BYTES * (n + 1)] + data[at : at + size]
            for n, (at, size) in enumerate(spans)
        )


def joined(parts: Sequence[Frames]) -> Frames:
    """Return the frames of several stretches as one, without the bytes between them; in order."""
    size = np.concatenate([part.size for part in parts])
    data = b"".join(
        part.data[at : at + length].tobytes()
        for part in parts
        for at, length in zip(part.marker.tolist(), part.size.tolist(), strict=True)
    )
    return Frames(
        with_room(data),
        np.cumsum(size) - size,
        size,
        np.concatenate([part.stamp_us for part in parts]),
        np.concatenate([part.word for part in parts]),
        np.concatenate([part.message_id for part in parts]),
        0,
    )


def end_to_end(parts: Sequence[Frames]) -> Frames:
    """Return several stretches as one, in order, with the bytes between the frames."""
    if len(parts) == 1:
        return parts[0]
    data = [part.data[:-ROOM] for part in parts[:-1]]
    begins = np.cumsum([0, *map(len, data)])
    return Frames(
        np.concatenate([*data, parts[-1].data]),
        np.concatenate([part.marker + at for part, at in zip(parts, begins, strict=True)]),
        np.concatenate([part.size for part in parts]),
        np.concatenate([part.stamp_us for part in parts]),
        np.concatenate([part.word for part in parts]),
        np.concatenate([part.message_id for part in parts]),
        sum(part.bad_bytes for part in parts),
    )
