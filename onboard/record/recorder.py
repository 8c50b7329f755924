"""The recorder: writes the link's frames, as a telemetry log, into a session's folder.

Every frame that the scanner passed is written unaltered behind its stamp; bytes that form no frame
are counted, not written. The stamps are the wall clock at the start plus monotonic time since.

The live loop never waits for the card: `write` puts records in a bounded queue, one thread appends
them about once a second, another syncs them. While the card refuses, records stay queued up to the
bound, and the append is retried every few seconds.

Before each append, and every second while nothing comes in, the file is checked against the bytes
written. If it was removed or damaged, recording continues in another file beside it.
"""

import json
import logging
import os
import threading
from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path

import numpy as np

from onboard.contract.alerts import Alert, AlertCode
from onboard.errors import RecordError
from onboard.files.whole_file import write_whole
from onboard.record.card_trouble import CARD_TROUBLE
from onboard.record.record_file import FileRecords
from onboard.record.record_queue import RecordQueue
from onboard.record.record_sync import RecordSync
from onboard.record.sessions import (
    begin_session,
    close_session,
    read_session,
    session_name,
    write_session,
)
from onboard.record.sidecars import Sidecars, Write
from onboard.record.watched_record import WatchedRecord
from onboard.telemetry.mavlink.frames import STAMP_BYTES, Frames

FLUSH_EVERY_S = 0.7
"""Interval of appends [s]: every fourth tick of 0.2 s; a late one is still within the second."""

RETRY_EVERY_S = 5.0

CHECK_EVERY_S = 1.0
"""A removed record is detected within this time [s], even if nothing comes in."""

SILENT_AFTER_S = 10.0
"""A slow card may pause for seconds of housekeeping; a longer pause raises an alert [s]."""

CLOSE_WITHIN_S = 4.0
"""Longest wait for the card at the end of a session [s]."""

log = logging.getLogger("wattwake")


class Recorder:
    """Writes one session's record.

    Parameters
    ----------
    directory
        Folder of all sessions; the session gets a folder of its own in it.
    start_us
        Wall clock at the start [us since the Unix epoch].
    profile_text
        The craft profile as given, kept beside the record; None without.
    anew
        Whether it begins a new trip, regardless of the autopilot's clocks.
    sidecars
        Names and texts of other small files created together with the record.

    Raises
    ------
    RecordError
        If the folder or the file cannot be created for a permanent reason.
    """

    def __init__(
        self,
        directory: Path,
        start_us: int,
        profile_text: str | None = None,
        *,
        anew: bool = False,
        sidecars: Mapping[str, str] | None = None,
    ) -> None:
        self.folder = directory / session_name(start_us)
        """The session's folder; the intended one while a full card prevents its creation."""
        self.recorded_bytes = 0
        """Size of the record's present file."""
        self._first = dict(sidecars or {})
        if profile_text is not None:
            self._first["profile.toml"] = profile_text
        self._begin = partial(begin_session, directory, start_us, anew=anew, sidecars=self._first)
        self._made = False
        self._record: WatchedRecord | None = None
        self._sync = RecordSync()
        self._changed = threading.Condition(threading.RLock())
        self.queue = RecordQueue()
        """Records waiting for the card."""
        self._sidecars = Sidecars()
        self._utc_noted = self._closing = False
        self._sync_failures = 0
        self._failure: Exception | None = None
        self._fault = ""
        self._left: list[FileRecords] = []
        self._logged: Alert | None = None
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
        self._log_problem()

    @property
    def problem(self) -> Alert | None:
        """Alert about the record; None without a problem."""
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
        if self._sync.pending_s(now_us) > SILENT_AFTER_S:
            return self._alert(at_risk, problem="takes_nothing")
        return None

    def _alert(self, code: AlertCode, fault: Exception | None = None, problem: str = "") -> Alert:
        problem = problem or ("refused" if isinstance(fault, OSError) else "fault")
        number = getattr(fault, "errno", None)
        return Alert(code, path=str(self.folder), problem=problem, errno=number)

    @property
    def lost_frames(self) -> int:
        """Frames dropped because the card did not take them."""
        return self.queue.lost_frames

    @property
    def behind(self) -> bool:
        """Whether the card refuses the record, so that frames are queued."""
        with self._changed:
            return self._failure is not None

    @property
    def moved(self) -> Alert | None:
        """Alert that the record continued in another file; None if it did not."""
        return None if self._record is None else self._record.moved

    def write(self, frames: Frames, now_us: int) -> None:
        """Queue frames, and start an append if it is due. Call it often, frames or not.

        It neither waits for the card nor raises its errors; see `problem`.

        Parameters
        ----------
        frames
            Frames to record.
        now_us
            Present time by the clock of their stamps [us].
        """
        with self._changed:
            self._now_us = now_us
            if len(frames):
                ends = np.cumsum(frames.size + STAMP_BYTES)
                self.queue.put(FileRecords(frames.records(), ends))
            if self._asked_us is None:
                if self._due(now_us):
                    self._flushed_us = self._asked_us = now_us
                    self._changed.notify_all()
                else:
                    self._sync_if_due()
        self._log_problem()

    def note_utc(self, utc: str, now_us: int) -> None:
        """Write down, once, the autopilot's UTC at a stamp: the board's clock may be wrong."""
        if not self._utc_noted:
            self._utc_noted = True
            self.put_file("clock.json", json.dumps({"stamp_us": now_us, "utc": utc}) + "\n")

    def put_file(self, name: str, text: str) -> None:
        """Queue a sidecar file to be written or rewritten."""
        if name in self._first:
            self._first[name] = text
        self.put(name, _text_writer(name, text))

    def put(self, name: str, write: Write) -> None:
        """Queue another write into the session's folder."""
        self._sidecars.put(name, write)

    def flush(self, within_s: float = 5.0) -> bool:
        """Write everything queued up to now; return whether it is written.

        Blocking: not for the live loop, but for a thread that is to read the record.
        """
        if not self.wait_idle(within_s):
            return False
        with self._changed:
            self._flushed_us = self._asked_us = self._now_us
            self._changed.notify_all()
        return self.wait_idle(within_s) and self.problem is None

    def wait_written(self, within_s: float = 5.0) -> bool:
        """Wait until the append in progress is done; return whether it is."""
        with self._changed:
            return self._changed.wait_for(lambda: self._asked_us is None, within_s)

    def wait_idle(self, within_s: float = 5.0) -> bool:
        """Wait until append and sync in progress are done; return whether they are."""
        return self.wait_written(within_s) and self._sync.wait_idle(within_s)

    def close(self, within_s: float | None = None) -> None:
        """Write and sync pending records, and mark the session as ended.

        Parameters
        ----------
        within_s
            Longest wait for the card [s]; None for `CLOSE_WITHIN_S`.
        """
        with self._changed:
            self._closing = True
            self._changed.notify_all()
        self._thread.join(CLOSE_WITHIN_S if within_s is None else within_s)
        self._sync.close()
        if self._thread.is_alive():
            log.error("the card does not answer: the end of the record may be lost")
        self._log_problem()

    def _due(self, now_us: int) -> bool:
        """Return whether a write is due."""
        if self._failure is not None:
            return now_us - self._failed_us >= RETRY_EVERY_S * 1e6
        waits = bool(self.queue) or self._sidecars.due(now_us)
        return waits and now_us - self._flushed_us >= FLUSH_EVERY_S * 1e6

    def _sync_if_due(self) -> None:
        if self._record is not None and self._sync.due(self._now_us):
            try:
                descriptor = self._record.file.duplicate()
            except OSError as problem:
                log.warning("the record cannot be synced: %s", problem.strerror)
            else:
                self._sync.request(descriptor, self._now_us)

    def _log_problem(self) -> None:
        """Log a problem when it arises and when it is over."""
        problem = self.problem
        if problem == self._logged:
            return
        self._logged = problem
        if problem is not None:
            log.error("%s", problem)
        else:
            log.warning("recording goes on (%d frames lost so far)", self.lost_frames)

    def _run(self) -> None:
        closing = False
        while not closing:
            with self._changed:
                asked = self._changed.wait_for(
                    lambda: self._asked_us is not None or self._closing, CHECK_EVERY_S
                )
                closing = self._closing
                if asked:
                    self._left = self.queue.take_all()
                elif self._failure is not None or self._record is None:
                    continue  # retried when that is due
            failure = self._failure_of(self._append)
            if self._made and asked and (closing or self._sidecars.due(self._now_us)):
                self._sidecars.write(self.folder, self._now_us)
            if closing:
                failure = self._failure_of(self._end) or failure
            with self._changed:
                self.queue.put_back(self._left)
                self._left = []
                self._failure = None
                if failure is not None:
                    self._note_failure(failure)
                elif asked and not closing:
                    self._sync_if_due()
                if closing:
                    self.queue.drop_all()
                if asked:
                    self._asked_us = None
                self._changed.notify_all()

    def _failure_of(self, act: Callable[[], Exception | None]) -> Exception | None:
        """Return the exception of an action, None if it succeeds; no fault may end the thread."""
        try:
            return act()
        except OSError as problem:
            return problem
        except Exception as fault:
            if self._record is not None:
                self._record.suspect = True  # its state is unknown
            if self._fault != repr(fault):
                self._fault = repr(fault)
                log.exception("the record failed in a way that nobody foresaw")
            return fault

    def _note_failure(self, problem: Exception) -> None:
        self._failure = problem
        self._failed_us = self._now_us

    def _open(self) -> None:
        """Create folder and file if missing."""
        if not self._made:
            self.folder = self._begin()
            self._made = True
            # If the folder is removed, its place among the sessions is not lost.
            if (note := read_session(self.folder)) is not None:
                self._sidecars.put("session", partial(write_session, note=note), written=True)
            for name, text in self._first.items():
                written = (self.folder / name).exists()
                self._sidecars.put(name, _text_writer(name, text), written=written)
        self._record = WatchedRecord(self.folder, self._sidecars.rewrite_all)

    def _append(self) -> OSError | None:
        """Append the records in hand and return the failure, if any; the rest stays in hand.

        Raises
        ------
        OSError
            If no file can be opened.
        """
        if self._record is None:
            self._open()
        assert self._record is not None
        if self._sync.failures != self._sync_failures:
            self._sync_failures = self._sync.failures
            self._record.suspect = True
        file = self._record.ready()
        if not self._left:
            return None
        before_bytes = file.whole_bytes
        self._left, failure = file.append(self._left)
        self.recorded_bytes = file.whole_bytes
        if file.whole_bytes > before_bytes:
            self._sync.mark_unsynced()
        self._record.suspect = failure is not None
        return failure

    def _end(self) -> OSError | None:
        """Sync and close the file, close the session, and return the failure, if any."""
        failure: OSError | None = None
        if self._record is not None:
            try:
                descriptor = self._record.file.duplicate()
                try:
                    os.fdatasync(descriptor)
                finally:
                    os.close(descriptor)
            except OSError as problem:
                failure = problem
            self._record.file.close()
        if self._made:
            close_session(self.folder)
        return failure


def _text_writer(name: str, text: str) -> Write:
    return lambda folder: write_whole(folder / name, text)
