"""MAVLink 2 message signing: which frames of a link may be used, and signatures for what is sent.

A signature is 13 bytes behind the checksum: link id, 48 bits of time in units of 10 us since 2015,
and the first 48 bits of SHA-256 over the key, the frame, link id and time (MAVLink signing guide).
"""

import hmac
import re
import tomllib
from collections.abc import Callable
from dataclasses import dataclass, replace
from hashlib import sha256
from string import hexdigits

import numpy as np

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
"""A sender not heard before may be this much behind local time: one minute (signing guide)."""

SETUP_SIGNING = 256
"""The message that carries a key: it belongs in no record."""


def key_from_text(text: str) -> bytes:
    """Return the key that a profile states as 64 hexadecimal digits.

    Raises
    ------
    ProfileError
        If it is none. The text is not repeated: it may be nearly the key.

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
    # A line of its own; in a table in braces, behind another key or in front of one.
    re.compile(rf"^[ \t]*(?:link\s*\.\s*)?{_STATED}[ \t]*(?:#[^\n]*)?(?:\n|\Z)", re.MULTILINE),
    re.compile(rf",\s*{_STATED}"),
    re.compile(rf"{_STATED}(?:[ \t]*,[ \t]*)?"),
)


def without_key(profile_text: str) -> str | None:
    r"""Return a profile's text without its `link.signing_key`, to be kept or passed on.

    Returns
    -------
    str or None
        None if the key is written in a way that cannot be cut out for certain.

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
    # Nothing else may have changed, and the key may not stand in a comment either. A table that
    # held nothing but the key may be gone with it.
    if {"link": {}, **before} != {"link": {}, **after} or str(key or "-" * 64) in text:
        return None
    return text


@dataclass
class Refused:
    """How many frames were refused, by reason."""

    unsigned: int = 0
    wrong_signature: int = 0
    replayed: int = 0
    """The time is not later than the sender's last, or, at its first, is long past."""

    @property
    def total(self) -> int:
        """All of them."""
        return self.unsigned + self.wrong_signature + self.replayed


class SignatureGate:
    """Passes the frames that may be used, and counts the others.

    Parameters
    ----------
    key
        The key shared with the autopilot, 32 bytes; None lets everything pass.
    """

    def __init__(self, key: bytes | None) -> None:
        if key is not None and len(key) != KEY_BYTES:
            raise ValueError(f"a key of {len(key)} bytes: expected {KEY_BYTES}")
        self.key = key
        self.refused = Refused()
        self.newest_ticks = 0
        """The latest time in a frame that passed; see `Signer`."""
        self._keyed = sha256(key or b"")
        self._last_ticks: dict[tuple[int, int, int], int] = {}
        """By system, component and link id. Only who has the key can add to it."""

    def push(self, frames: Frames, sure_now_us: int | None = None) -> Frames:
        """Return the frames that may be used, in order; `bad_bytes` is carried over.

        Parameters
        ----------
        frames
            Frames whose checksums are right.
        sure_now_us
            The time [us since the Unix epoch] where it is certain; None where it is not, as on a
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
            # Before the time is looked at: a forged one must not lock the true sender out.
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
    """Makes the signatures of what is sent, each later than the one before.

    Parameters
    ----------
    key
        The key shared with the autopilot, 32 bytes.
    now_us
        The clock [us since the Unix epoch]. It may be wrong:
    gate
        what was heard is never younger than what is sent, so an autopilot whose clock is ahead does
        not take it for a replay (the rule of the signing guide, as pymavlink keeps it).
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
        """Return the 13 bytes that go behind a frame.

        Parameters
        ----------
        frame
            The frame from its marker to its checksum, the flag of a signed frame set.
        """
        heard = self._gate.newest_ticks if self._gate else 0
        now = max(ticks(self._now_us()), self._last_ticks + 1, heard)
        # The last tick there is must not be passed: from there on nothing that is sent is taken.
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
    """Return a time [us since the Unix epoch] as signatures have it; before 2015 zero.

    Examples
    --------
    >>> ticks(1_764_063_600_123_456)
    34399320012345
    """
    return max(0, (unix_us - EPOCH_US) // TICK_US)
