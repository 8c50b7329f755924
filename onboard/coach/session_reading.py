"""A session's record, read as it grows: its seconds so far, just as `compare` gets them at home.

The record is the only source, so the coach's figures are those of the saved session, and a
restarted daemon knows the earlier runs. Settled seconds do not depend on where the record was cut
(`sources/settled_seconds.py`), hence not on when it was read.
"""

from pathlib import Path

import numpy as np

from onboard.efficiency.trial.seconds import LogSeconds, Seconds
from onboard.errors import LogError
from onboard.profile import Profile
from onboard.record.marks import TimedCommand, in_record, read_marks
from onboard.telemetry.logs.log_files import find_log, log_bytes, opened
from onboard.telemetry.logs.telemetry_log import WINDOW_BYTES, stamps_s
from onboard.telemetry.mavlink.frames import Frames
from onboard.telemetry.mavlink.log_scanner import LogScanner
from onboard.telemetry.messages.decoder import Decoder


class SessionReading:
    """Reads one session's record piece by piece.

    Parameters
    ----------
    folder
        The session's folder.
    profile
        The craft.
    system_id
        MAVLink system to follow; None for the profile's, else the one that sends most.
    """

    def __init__(self, folder: Path, profile: Profile, system_id: int | None = None) -> None:
        self.folder = folder
        self._system_id = system_id if system_id is not None else profile.link.system_id
        self._profile = profile
        self._begin()

    def _begin(self) -> None:
        self._scanner, self._decoder = LogScanner(), Decoder(self._system_id)
        self._gathering = LogSeconds(self._profile)
        self._offset = 0
        self._waiting: Frames | None = None
        self._first_s: float | None = None

    @property
    def zero_stamp_s(self) -> float | None:
        """The record's stamp at stream time zero [s]; None if nothing was received."""
        return self._decoder.time.first_receipt_s

    @property
    def shift_s(self) -> float:
        """From stream time to the clock of the record's stamps [s], worked out as in `compare`."""
        first_s, zero_s = self._first_s or 0.0, self.zero_stamp_s or 0.0
        return first_s + (zero_s - first_s)

    def advance(self, until_us: int | None = None) -> None:
        """Read on.

        Parameters
        ----------
        until_us
            Last stamp wanted [us]; None for all that has been written.
        """
        try:
            files = find_log(self.folder)
            if log_bytes(files) < self._offset:
                # Replaced or cut: the record is read anew.
                self._begin()
            with opened(files) as log:
                log.seek(self._offset)
                while self._take(until_us):
                    data = log.read(WINDOW_BYTES)
                    if not data:
                        break
                    self._offset += len(data)
                    self._waiting = self._scanner.push(data)
        except (LogError, OSError):
            # Nothing has been written yet; it is read again anyway.
            return

    def _take(self, until_us: int | None) -> bool:
        """Take the frames that wait, up to a stamp; return whether to read more."""
        frames = self._waiting
        if frames is None:
            return True
        self._waiting = None
        if until_us is not None and len(frames):
            later = frames.stamp_us > until_us
            if later.any():
                self._waiting = frames.where(np.flatnonzero(later))
                frames = frames.where(np.flatnonzero(~later))
        if len(frames):
            if self._first_s is None:
                self._first_s = float(stamps_s(frames)[0])
            self._gathering.fold(self._decoder.push(frames))
        return self._waiting is None

    def seconds(self) -> Seconds:
        """Return the seconds that have settled so far."""
        return self._gathering.seconds(ended=False)

    @property
    def gathering(self) -> LogSeconds:
        """What was read so far."""
        return self._gathering

    def marks(self, until_us: int | None = None) -> tuple[TimedCommand, ...]:
        """Return the session's marks, timed by its own record.

        Parameters
        ----------
        until_us
            Last stamp wanted [us]; None for all.
        """
        marks = in_record(read_marks(self.folder), self.zero_stamp_s)
        return tuple(one for one in marks if until_us is None or one.stamp_us <= until_us)
