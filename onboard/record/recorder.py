"""The recorder: what the link gave, as a telemetry log in a session's folder.

Every frame that the scanner passed is written unaltered behind its stamp; bytes that form no frame
are counted, not written. The stamps are the wall clock at the start plus monotonic time since.

The live loop never waits for the card: `write` puts records in a bounded queue, one thread appends
them about once a second, another has the card take them in. When the card refuses, the records are
held, as many as the queue has room for, and it is tried again every few seconds.

The file is checked against what was written before each append, and every second while nothing
comes in. If somebody took it away or spoilt it, the record goes on in another beside it.
"""

import json
import logging
import os
import threading
from collections import deque
from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path

import numpy as np

from onboard.contract.alerts import Alert, AlertCode
from onboard.errors import RecordError
from onboard.files.whole_file import write_whole
from onboard.record.card_trouble import CARD_TROUBLE
from onboard.record.record_file import Records
from onboard.record.record_notes import RecordNotes, Write
from onboard.record.record_sync import RecordSync
from onboard.record.record_watch import WatchedRecord
from onboard.record.sessions import (
    SessionNote,
    begin_session,
    close_session,
    read_session,
    session_name,
    write_session,
)
from onboard.telemetry.mavlink.frames import STAMP_BYTES, Frames

FLUSH_EVERY_S = 0.7
"""So every fourth of the service's ticks of 0.2 s: a late one still comes within the second."""

RETRY_EVERY_S = 5.0

LOOK_EVERY_S = 1.0
"""A record that was taken away is noticed within this, even if nothing comes in."""

SILENT_AFTER_S = 10.0
"""A slow card may pause for seconds to tidy up; a longer pause raises an alert."""

HELD_MOST_BYTES = 2 << 20
"""Two minutes of a busy link (13 kB/s); what is older is dropped and counted."""

PIECE_BYTES = 512
"""What holding a piece costs besides its bytes, rounded up: many small ones are bounded too."""

CLOSE_WITHIN_S = 4.0
"""The end of a session waits no longer than this for the card."""

log = logging.getLogger("wattwake")


class Recorder:
    """Writes one session's record.

    Parameters
    ----------
    directory
        The folder of all sessions; the session gets a folder of its own in it.
    start_us
        Wall clock at the start [us since the Unix epoch].
    profile_text
        The craft profile as given, kept beside the record; None where there is none.
    anew
        Whether a new trip begins with it, whatever the autopilot's clocks say.
    beside
        Other small files that are kept beside the record from the first moment on.

    Raises
    ------
    RecordError
        If the folder or the file cannot be made for a reason that does not pass by itself.
    """

    def __init__(
        self,
        directory: Path,
        start_us: int,
        profile_text: str | None = None,
        *,
        anew: bool = False,
        beside: Mapping[str, str] | None = None,
    ) -> None:
        self.folder = directory / session_name(start_us)
        """The session's folder; while a full card keeps it from being made, what it would be."""
        self.recorded_bytes = 0
        """What the record's present file holds."""
        self.lost_frames = 0
        """Frames that were dropped because the card did not take them."""
        self._beside = dict(beside or {})
        if profile_text is not None:
            self._beside["profile.toml"] = profile_text
        self._begin = partial(begin_session, directory, start_us, anew=anew, beside=self._beside)
        self._made = False
        self._record: WatchedRecord | None = None
        self._sync = RecordSync()
        self._changed = threading.Condition(threading.RLock())
        self._pending: deque[Records] = deque()
        self._pending_bytes = 0
        self._notes = RecordNotes()
        self._utc_noted = self._closing = False
        self._sync_failures = 0
        self._failure: Exception | None = None
        self._fault = ""
        self._left: list[Records] = []
        self._said: Alert | None = None
        self._now_us = self._flushed_us = self._failed_us = start_us
        self._asked_us: int | None = None
        try:
            self._open()
        except OSError as problem:
            if problem.errno not in CARD_TROUBLE:
                self._sync.close()
                text = (
                    f"--record {directory}: cannot write there ({problem.strerror}): "
                    "choose another folder, or use --no-record"
                )
                raise RecordError(text, str(directory), problem.errno) from None
            self._note_failure(problem)
        self._thread = threading.Thread(target=self._run, name="record", daemon=True)
        self._thread.start()
        self._say()

    @property
    def problem(self) -> Alert | None:
        """What is wrong with the record; None where nothing is."""
        stopped, at_risk = AlertCode.RECORD_STOPPED, AlertCode.RECORD_AT_RISK
        with self._changed:
            asked_us, now_us = self._asked_us, self._now_us
            if self._failure is not None:
                return self._alert(stopped, self._failure)
            if asked_us is not None and now_us - asked_us > SILENT_AFTER_S * 1e6:
                return self._alert(stopped, problem="no_answer")
            if self._record is not None and self._record.risk is not None:
                return self._record.risk
        if (failure := self._sync.problem) is not None:
            return self._alert(at_risk, failure)
        if self._sync.silent_s(now_us) > SILENT_AFTER_S:
            return self._alert(at_risk, problem="takes_nothing")
        return None

    def _alert(self, code: AlertCode, fault: Exception | None = None, problem: str = "") -> Alert:
        problem = problem or ("refused" if isinstance(fault, OSError) else "fault")
        number = getattr(fault, "errno", None)
        return Alert(code, path=str(self.folder), problem=problem, errno=number)

    @property
    def behind(self) -> bool:
        """Whether the card refuses the record, so that frames wait for it."""
        with self._changed:
            return self._failure is not None

    @property
    def moved(self) -> Alert | None:
        """That the record went on in another file; None where it did not."""
        return None if self._record is None else self._record.moved

    def write(self, frames: Frames, now_us: int) -> None:
        """Take frames, and have them written if it is time. To be called often, frames or not.

        It neither waits for the card nor raises what the card reports; see `problem`.

        Parameters
        ----------
        frames
            The frames.
        now_us
            The clock that their stamps are read from [us].
        """
        with self._changed:
            self._now_us = now_us
            if len(frames):
                ends = np.cumsum(frames.size + STAMP_BYTES)
                self._hold(Records(frames.records(), ends))
            if self._asked_us is None:
                if self._due(now_us):
                    self._flushed_us = self._asked_us = now_us
                    self._changed.notify_all()
                else:
                    self._sync_if_due()
        self._say()

    def note_utc(self, utc: str, now_us: int) -> None:
        """Keep, once, what UTC the autopilot states at a stamp: the board's clock may be wrong."""
        if not self._utc_noted:
            self._utc_noted = True
            self.keep("clock.json", json.dumps({"stamp_us": now_us, "utc": utc}) + "\n")

    def keep(self, name: str, text: str) -> None:
        """Have a small file written beside the record, whole or not at all, when it is time."""
        if name in self._beside:
            self._beside[name] = text
        self._notes.put(name, _writing(name, text))

    def note(self, name: str, write: Write) -> None:
        """Have something else noted in the session's folder, when it is time; see `RecordNotes`."""
        self._notes.put(name, write)

    def flush(self, within_s: float = 5.0) -> bool:
        """Have all that was taken up to now written, and tell whether it is.

        It waits: not for the live loop, but for a thread that wants to read the record now.
        """
        if not self.settle(within_s):
            return False
        with self._changed:
            self._flushed_us = self._asked_us = self._now_us
            self._changed.notify_all()
        return self.settle(within_s) and self.problem is None

    def settle(self, within_s: float = 5.0) -> bool:
        """Wait until all that was begun is done, and tell whether it is."""
        with self._changed:
            done = self._changed.wait_for(lambda: self._asked_us is None, within_s)
        return done and self._sync.settle(within_s)

    def close(self, within_s: float | None = None) -> None:
        """Write what is left, have the card take it in, and mark the session as ended.

        Parameters
        ----------
        within_s
            Wait no longer than this for the card [s]; None: as long as is usual.
        """
        with self._changed:
            self._closing = True
            self._changed.notify_all()
        self._thread.join(CLOSE_WITHIN_S if within_s is None else within_s)
        self._sync.close()
        if self._thread.is_alive():
            log.error("the card does not answer: the end of the record may be lost")
        self._say()

    def _hold(self, records: Records) -> None:
        """Add records to those that wait, and drop the oldest where there is no room for all."""
        self._pending.append(records)
        self._pending_bytes += len(records.data) + PIECE_BYTES
        self._make_room()

    def _make_room(self) -> None:
        while self._pending_bytes > HELD_MOST_BYTES and len(self._pending) > 1:
            dropped = self._pending.popleft()
            self._pending_bytes -= len(dropped.data) + PIECE_BYTES
            self.lost_frames += len(dropped.ends)

    def _due(self, now_us: int) -> bool:
        """Return whether there is something to be done about the file, and it is time for it."""
        if self._failure is not None:
            return now_us - self._failed_us >= RETRY_EVERY_S * 1e6
        waits = bool(self._pending) or self._notes.due(now_us)
        return waits and now_us - self._flushed_us >= FLUSH_EVERY_S * 1e6

    def _sync_if_due(self) -> None:
        if self._record is not None and self._sync.due(self._now_us):
            try:
                descriptor = self._record.now.duplicate()
            except OSError as problem:
                log.warning("the record cannot be synced: %s", problem.strerror)
            else:
                self._sync.ask(descriptor, self._now_us)

    def _say(self) -> None:
        """Log a problem when it comes up, and that it is over."""
        problem = self.problem
        if problem == self._said:
            return
        self._said = problem
        if problem is not None:
            log.error("%s", problem)
        else:
            log.warning("recording goes on (%d frames lost so far)", self.lost_frames)

    def _run(self) -> None:
        closing = False
        while not closing:
            with self._changed:
                asked = self._changed.wait_for(
                    lambda: self._asked_us is not None or self._closing, LOOK_EVERY_S
                )
                closing = self._closing
                if asked:
                    self._left = list(self._pending)
                    self._pending.clear()
                    self._pending_bytes = 0
                elif self._failure is not None or self._record is None:
                    continue  # it is tried again when that is due
            failure = self._tried(self._put_down)
            if self._made and asked and (closing or self._notes.due(self._now_us)):
                self._notes.write(self.folder, self._now_us)
            if closing:
                failure = self._tried(self._end) or failure
            with self._changed:
                self._pending.extendleft(reversed(self._left))
                self._pending_bytes += sum(len(piece.data) + PIECE_BYTES for piece in self._left)
                self._left = []
                self._make_room()
                self._failure = None
                if failure is not None:
                    self._note_failure(failure)
                elif asked and not closing:
                    self._sync_if_due()
                if closing:
                    self.lost_frames += sum(len(piece.ends) for piece in self._pending)
                if asked:
                    self._asked_us = None
                self._changed.notify_all()

    def _tried(self, act: Callable[[], Exception | None]) -> Exception | None:
        """Do a thing, and give what went wrong; what nobody foresaw must not end the thread."""
        try:
            return act()
        except OSError as problem:
            return problem
        except Exception as fault:
            if self._record is not None:
                self._record.doubted = True  # nobody knows what it left undone
            if self._fault != repr(fault):
                self._fault = repr(fault)
                log.exception("the record failed in a way that nobody foresaw")
            return fault

    def _note_failure(self, problem: Exception) -> None:
        self._failure = problem
        self._failed_us = self._now_us

    def _open(self) -> None:
        """Make what is not there yet: folder and file."""
        if not self._made:
            self.folder = self._begin()
            self._made = True
            # Where somebody removes the folder, its place among the sessions is not lost.
            if (note := read_session(self.folder)) is not None:
                self._notes.put("session", _restoring(note), there=True)
            for name, text in self._beside.items():
                there = (self.folder / name).exists()
                self._notes.put(name, _writing(name, text), there=there)
        self._record = WatchedRecord(self.folder, self._notes.anew)

    def _put_down(self) -> OSError | None:
        """Append the records in hand; those that are not written stay there. Give what went wrong.

        Raises
        ------
        OSError
            If there is no file to be had.
        """
        if self._record is None:
            self._open()
        assert self._record is not None
        if self._sync.failures != self._sync_failures:
            self._sync_failures = self._sync.failures
            self._record.doubted = True
        file = self._record.ready()
        if not self._left:
            return None
        before_bytes = file.whole_bytes
        self._left, failure = file.append(self._left)
        self.recorded_bytes = file.whole_bytes
        if file.whole_bytes > before_bytes:
            self._sync.written()
        self._record.doubted = failure is not None
        return failure

    def _end(self) -> OSError | None:
        """Have the card take in what is there, and close; give what went wrong."""
        failure: OSError | None = None
        if self._record is not None:
            try:
                descriptor = self._record.now.duplicate()
                try:
                    os.fdatasync(descriptor)
                finally:
                    os.close(descriptor)
            except OSError as problem:
                failure = problem
            self._record.now.close()
        if self._made:
            close_session(self.folder)
        return failure


def _writing(name: str, text: str) -> Write:
    return lambda folder: write_whole(folder / name, text)


def _restoring(note: SessionNote) -> Write:
    return lambda folder: write_session(folder, note)
