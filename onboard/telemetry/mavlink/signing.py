"""MAVLink 2 message signing: check received frames, and sign outgoing ones.

A signature is 13 bytes behind the checksum: link id, 48 bits of time in units of 10 us since 2015,
and the first 48 bits of SHA-256 over the key, the frame, link id and time (MAVLink signing guide).
"""

import hmac
import re
import tomllib
from collections.abc import Callable
from dataclasses import replace
from hashlib import sha256
from string import hexdigits

import numpy as np

from onboard.dataclass import dataclass
from onboard.errors import ProfileError
from onboard.telemetry.mavlink.frames import Frames
from onboard.telemetry.mavlink.headers import SIGNATURE_BYTES, SIGNED

KEY_BYTES = 32
DIGEST_BYTES, TIME_BYTES = 6, 6

EPOCH_US = 1_420_070_400_000_000
"""2015-01-01 00:00 GMT [us since the Unix epoch]."""

TICK_US = 10

TICKS_MOST = (1 << 48) - 1

NEW_STREAM_BEHIND_TICKS = 6_000_000
"""Lag behind local time that a new sender is allowed: one minute (signing guide)."""

SETUP_SIGNING = 256
"""The message that carries a key; it must not get into a record."""


def key_from_text(text: str) -> bytes:
    """Return the key from a profile's 64 hexadecimal digits.

    Raises
    ------
    ProfileError
        If it is not a key. The message does not echo the text: it may be nearly the key.

    Examples
    --------
    >>> key_from_text("00ff")
    Traceback (most recent call last):
    onboard.errors.ProfileError: link.signing_key: expected 64 hexadecimal digits, found 4
    """
    if len(text) != 2 * KEY_BYTES:
        raise ProfileError(
            f"link.signing_key: expected {2 * KEY_BYTES} hexadecimal digits, found {len(text)}"
        )
    if wrong := sum(letter not in hexdigits for letter in text):
        raise ProfileError(
            f"link.signing_key: expected {2 * KEY_BYTES} hexadecimal digits, but {wrong} of its "
            "characters are none (0-9, a-f)"
        )
    return bytes.fromhex(text)


_STATED = r"""["']?signing_key["']?\s*=\s*(?:"[^"\n]*"|'[^'\n]*')"""
_WAYS_TO_STATE = (
    # On a line of its own; in an inline table, behind another key or in front of one.
    re.compile(rf"^[ \t]*(?:link\s*\.\s*)?{_STATED}[ \t]*(?:#[^\n]*)?(?:\n|\Z)", re.MULTILINE),
    re.compile(rf",\s*{_STATED}"),
    re.compile(rf"{_STATED}(?:[ \t]*,[ \t]*)?"),
)


def without_key(profile_text: str) -> str | None:
    r"""Return a profile's text without its `link.signing_key`, safe to store or pass on.

    Returns
    -------
    str or None
        None if the key cannot be removed with certainty.

    Examples
    --------
    >>> without_key("[link]\nsigning_key = 'c0ffee'  # ours\nbaud = 57600\n")
    '[link]\nbaud = 57600\n'
    """
    text = profile_text
    for way in _WAYS_TO_STATE:
        text = way.sub("", text)
    try:
        before, after = tomllib.loads(profile_text), tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return None
    link = before.get("link")
    key = link.pop("signing_key", None) if isinstance(link, dict) else None
    # Nothing else may have changed, and the key may not remain in a comment either. A table that
    # had only the key may be gone with it.
    if {"link": {}, **before} != {"link": {}, **after} or str(key or "-" * 64) in text:
        return None
    return text


@dataclass
class RefusedFrames:
    """Number of frames refused, by reason."""

    unsigned: int = 0
    wrong_signature: int = 0
    replayed: int = 0
    """The time is not later than the sender's last one or, in its first frame, is long past."""

    @property
    def total(self) -> int:
        """Number of all refused frames."""
        return self.unsigned + self.wrong_signature + self.replayed


class SignatureGate:
    """Pass the frames with a valid signature, and count the others.

    Parameters
    ----------
    key
        The key shared with the autopilot, 32 bytes; None passes everything.
    """

    def __init__(self, key: bytes | None) -> None:
        if key is not None and len(key) != KEY_BYTES:
            raise ValueError(f"a key of {len(key)} bytes: expected {KEY_BYTES}")
        self.key = key
        self.refused = RefusedFrames()
        self.newest_ticks = 0
        """Latest time in a frame that passed; see `Signer`."""
        self._keyed = sha256(key or b"")
        self._last_ticks: dict[tuple[int, int, int], int] = {}
        """By system, component and link id. Only a holder of the key can add to it."""

    def push(self, frames: Frames, sure_now_us: int | None = None) -> Frames:
        """Return the frames that pass, in order; `bad_bytes` is kept.

        Parameters
        ----------
        frames
            Frames with right checksums.
        sure_now_us
            Present time [us since the Unix epoch] if it is certain; None if it is not, as on a
            board without a clock of its own: then a sender's first frame may be of any time.
        """
        if self.key is None or not len(frames):
            return frames
        data = frames.data.tobytes()
        oldest = 0
        if sure_now_us is not None:
            oldest = ticks(sure_now_us) - NEW_STREAM_BEHIND_TICKS
        ends = (frames.marker + frames.size).tolist()
        signed = (frames.word & SIGNED << 16 != 0).tolist()
        begins = frames.marker.tolist()
        systems, components = frames.system_id.tolist(), frames.component_id.tolist()
        passed = np.zeros(len(frames), np.bool_)
        for n, end in enumerate(ends):
            if not signed[n]:
                self.refused.unsigned += 1
                continue
            place = end - DIGEST_BYTES
            digest = self._keyed.copy()
            digest.update(data[begins[n] : place])
            # Checked before the time: a forged time must not lock the true sender out.
            if not hmac.compare_digest(digest.digest()[:DIGEST_BYTES], data[place:end]):
                self.refused.wrong_signature += 1
                continue
            sender = (systems[n], components[n], data[end - SIGNATURE_BYTES])
            stamp = int.from_bytes(data[place - TIME_BYTES : place], "little")
            last = self._last_ticks.get(sender)
            if stamp < oldest if last is None else stamp <= last:
                self.refused.replayed += 1
                continue
            self._last_ticks[sender] = stamp
            self.newest_ticks = max(self.newest_ticks, stamp)
            passed[n] = True
        return frames if passed.all() else replace(frames.where(passed), bad_bytes=frames.bad_bytes)


class Signer:
    """Sign outgoing frames, each with a later time than the one before.

    Parameters
    ----------
    key
        The key shared with the autopilot, 32 bytes.
    now_us
        The clock [us since the Unix epoch]; it may be wrong.
    gate
        The gate of received frames. Sent times are never earlier than received ones, so that an
        autopilot whose clock is ahead does not take them for replays (signing guide, as in
        pymavlink).
    link_id
        The sender's number for this link.
    """

    def __init__(
        self,
        key: bytes,
        now_us: Callable[[], int],
        gate: SignatureGate | None = None,
        link_id: int = 0,
    ) -> None:
        if len(key) != KEY_BYTES:
            raise ValueError(f"a key of {len(key)} bytes: expected {KEY_BYTES}")
        self._key = key
        self._now_us = now_us
        self._gate = gate
        self._link_id = link_id
        self._last_ticks = -1

    def signature(self, frame: bytes) -> bytes:
        """Return the 13 bytes to append to a frame.

        Parameters
        ----------
        frame
            The frame from its marker to its checksum, with the flag of a signed frame set.
        """
        received = self._gate.newest_ticks if self._gate else 0
        now = max(ticks(self._now_us()), self._last_ticks + 1, received)
        # The largest tick must not be exceeded: behind it no frame would ever be accepted.
        self._last_ticks = min(now, TICKS_MOST)
        return signature(self._key, frame, self._link_id, self._last_ticks)


def signature(key: bytes, frame: bytes, link_id: int, stamp_ticks: int) -> bytes:
    """Return the signature of a frame.

    Parameters
    ----------
    key
        32 bytes.
    frame
        The frame from its marker to its checksum.
    link_id
        The sender's number for the link.
    stamp_ticks
        The time; see `ticks`.
    """
    stamp = bytes((link_id,)) + stamp_ticks.to_bytes(TIME_BYTES, "little")
    return stamp + sha256(key + frame + stamp).digest()[:DIGEST_BYTES]


def ticks(unix_us: int) -> int:
    """Return a time [us since the Unix epoch] in units of a signature; zero before 2015.

    Examples
    --------
    >>> ticks(1_764_063_600_123_456)
    34399320012345
    """
    return max(0, (unix_us - EPOCH_US) // TICK_US)
