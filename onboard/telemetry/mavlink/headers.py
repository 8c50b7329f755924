"""The headers of many frames at once, of both MAVLink versions, as one word each.

A word holds the header's bytes as MAVLink 2 lays out the first eight: marker, payload length,
incompatibility flags, compatibility flags, sequence number, system, component, and the lowest byte
of the message id (MAVLink serialisation guide).
"""

from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt

from onboard.telemetry.mavlink.checksum import Bytes, Flags, Ints

IntOrInts = TypeVar("IntOrInts", int, Ints)

MARKER_2, MARKER_1 = 0xFD, 0xFE
"""First byte of a MAVLink 2 and of a MAVLink 1 frame."""

SIGNED = 1
"""Incompatibility flag of a signed frame, the only one defined; frames with any other flag must be
discarded (MAVLink serialisation guide)."""

HEADER_1, HEADER_2 = 6, 10
"""Bytes in front of the payload, the marker included."""

CHECKSUM_BYTES = 2

SIGNATURE_BYTES = 13


def read_words(data: Bytes, marker: Ints) -> Ints:
    """Return the header words of frames by the offsets of their markers, shape (n,).

    Parameters
    ----------
    data
        The bytes, with at least eight to spare behind the last marker.
    """
    words: npt.NDArray[Any] = np.ndarray((data.size - 7,), "<i8", data, strides=(1,))
    return as_version_2(words[marker])


def as_version_2(word: Ints) -> Ints:
    """Convert the first eight bytes of frames of both versions into header words, in place."""
    old = np.flatnonzero(is_version_1(word))
    if len(old):
        # Without flags: sequence, system, component and message id follow the length directly.
        changed = word[old]
        word[old] = (changed & 0xFFFF) | (changed & 0xFFFF_FFFF_0000) << 16
    return word


def is_version_1(word: Ints) -> Flags:
    """Return which frames are of MAVLink 1."""
    old: Flags = word & 255 == MARKER_1
    return old


def payload_bytes(word: Ints) -> Ints:
    """Return the payloads' lengths."""
    return word >> 8 & 255


def flags(word: Ints) -> Ints:
    """Return the incompatibility flags."""
    return word >> 16 & 255


def sequences(word: Ints) -> Ints:
    """Return the senders' sequence numbers, 0 to 255."""
    return word >> 32 & 255


def system_ids(word: Ints) -> Ints:
    """Return the senders' systems."""
    return word >> 40 & 255


def component_ids(word: Ints) -> Ints:
    """Return the senders' components."""
    return word >> 48 & 255


def senders(word: IntOrInts) -> IntOrInts:
    """Return the senders: the system in the low byte, the component above it; of one word, too."""
    return word >> 40 & 0xFFFF


def header_bytes(word: Ints) -> Ints:
    """Return the number of bytes in front of the payload, the marker included."""
    return HEADER_2 - (HEADER_2 - HEADER_1) * is_version_1(word)


def frame_bytes(word: Ints) -> Ints:
    """Return the frames' lengths, from the marker to the end of the checksum or signature."""
    size = payload_bytes(word) + (HEADER_2 + CHECKSUM_BYTES)
    size[np.flatnonzero(is_version_1(word))] += HEADER_1 - HEADER_2
    size[np.flatnonzero(word & SIGNED << 16)] += SIGNATURE_BYTES
    return size


def message_ids(data: Bytes, marker: Ints, word: Ints) -> Ints:
    """Return the message ids."""
    ids = word >> 56 & 255
    ids |= data.take(marker + 8).astype(np.int64) << 8
    ids |= data.take(marker + 9).astype(np.int64) << 16
    old = np.flatnonzero(is_version_1(word))
    ids[old] = word[old] >> 56 & 255
    return ids
