"""Everything a run of the daemon writes: record, marks and learned state, session by session.

None of it may stop the figures: failed writes are reported and retried.
"""

import logging
import time
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from dataclasses import replace
from pathlib import Path
from typing import Any

from onboard.contract.alerts import Alert
from onboard.files.background_writer import BackgroundWriter
from onboard.files.whole_file import write_whole
from onboard.record.marks import MarkBook, TimedCommand, read_marks
from onboard.record.recorder import CLOSE_WITHIN_S, Recorder
from onboard.record.sessions import last_session, note_may_continue, read_session
from onboard.restarts.refold import CARRIED_NAME, Session, carried_text, load_carried
from onboard.restarts.trip_sessions import (
    Past,
    Settled,
    TripVerdict,
    look_back,
    write_all_settled,
    write_settled,
)
from onboard.ride.learned_file import load, save
from onboard.telemetry.mavlink.frames import Frames

SAVE_EVERY_S = 30.0
"""Interval between saves of the learned state [s]: few writes spare the card."""

Kept = dict[str, Any] | None

log = logging.getLogger("wattwake")


class SessionBook:
    """Writes the sessions of one run of the daemon.

    Parameters
    ----------
    directory
        Folder of all sessions.
    start_us
        The clock of the frames' stamps at the start [us].
    profile_text
        Profile to write beside the record, None without.
    system_id
        MAVLink system to follow; None follows the one that sends most.
    update
        Updates the saved state to the end of these sessions' records; see `update_learned`.

    Raises
    ------
    RecordError
        If nothing can be written there, for a permanent reason.
    """

    _marks: MarkBook
    _marked: int

    def __init__(
        self,
        directory: Path,
        start_us: int,
        profile_text: str | None,
        system_id: int | None = None,
        update: Callable[[Kept, Sequence[Session]], Kept] = lambda saved, _: saved,
    ) -> None:
        self._directory = directory
        self._profile_text = profile_text
        self._update = update
        self.saved_state = load(directory)
        """State saved by earlier runs, None if there is no usable one."""
        self._writer = BackgroundWriter()
        self._saving: Future[None] | None = None
        self._save_due_s = 0.0
        self._begin(start_us, self.saved_state)
        self.past: Future[Past] = self._writer.submit(self._look_back, self._recorder, system_id)
        """The trip that may continue, as found by the look back; as slow as the card is."""

    @property
    def folder(self) -> Path:
        """Folder of the present session."""
        return self._recorder.folder

    @property
    def alerts(self) -> list[Alert]:
        """Alerts about the files being written."""
        recorder = self._recorder
        every = (recorder.problem, recorder.moved, self._marks.problem)
        return [alert for alert in every if alert is not None]

    @property
    def behind(self) -> bool:
        """Whether the card refuses the record, so that frames are queued."""
        return self._recorder.behind

    def write(self, frames: Frames, now_us: int) -> None:
        """Record frames; call it often, frames or not."""
        self._recorder.write(frames, now_us)

    def flush(self) -> bool:
        """Write all frames taken so far; return whether they are in the record."""
        return self._recorder.flush()

    def note_utc(self, utc: str, now_us: int) -> None:
        """Write down, once, the UTC that the autopilot states at a stamp [us]."""
        self._recorder.note_utc(utc, now_us)

    def mark(self, command: TimedCommand) -> None:
        """Write down an accepted command."""
        if self._marks.folder != self.folder:
            # The card was full at the start, and the folder got another name.
            self._marks = MarkBook(self.folder)
        self._marks.write(command)
        self._marked += 1
        self._writer.submit(self._marks.sync)

    def settle(self, verdict: TripVerdict) -> None:
        """Write down the trip that this session and those before it belong to."""
        self._writer.submit(write_all_settled, verdict.settled)
        folders = [session.folder for session in verdict.sessions]

        def write(folder: Path) -> None:
            before, first = (folders[-1], folders[0]) if folders else (None, folder)
            write_settled(Settled(folder, before, first))

        self._recorder.put("continues", write)

    def save_if_due(self, now_s: float, saved: Callable[[], dict[str, Any] | None]) -> bool:
        """Save the learned state if due and the last save is done; return whether it did.

        Parameters
        ----------
        now_s
            Monotonic clock [s].
        saved
            Returns the state to save; see `Ride.saved_state`.
        """
        if now_s < self._save_due_s or (self._saving is not None and not self._saving.done()):
            return False
        self._save_due_s = now_s + SAVE_EVERY_S
        self._saving = self._writer.submit(self._save, saved(), self.folder.name, self._marked)
        return True

    def present(self, until_us: int | None = None) -> Session:
        """Return the present session, to be refolded.

        Parameters
        ----------
        until_us
            Last stamp wanted [us]; None for all.
        """
        return Session(self.folder, read_marks(self.folder), until_us)

    def begin_new_trip(self, start_us: int, saved: dict[str, Any] | None) -> None:
        """Begin a session for a new trip, and end the previous one.

        Raises
        ------
        RecordError
            If none can be begun: then the previous one continues.
        """
        before = self._recorder
        self._begin(start_us, saved, anew=True)
        # In a thread: a slow card must not delay the figures.
        self._writer.submit(before.close)
        self._writer.submit(self._settle_alone, before.folder)
        self._writer.submit(self._save, saved, self.folder.name, 0)

    def close(self, saved: dict[str, Any] | None, within_s: float = CLOSE_WITHIN_S) -> None:
        """Write pending data and end the session; wait at most this long for the card [s]."""
        until_s = time.monotonic() + within_s
        self._writer.submit(self._save, saved, self.folder.name, self._marked)
        self._recorder.close(within_s)
        if not self._writer.close(max(until_s - time.monotonic(), 0.0)):
            log.error("the card does not answer: what was learned last is not saved")

    def _begin(self, start_us: int, saved: dict[str, Any] | None, *, anew: bool = False) -> None:
        self._recorder = Recorder(
            self._directory,
            start_us,
            self._profile_text,
            anew=anew,
            sidecars={CARRIED_NAME: carried_text(saved)},
        )
        self._marks = MarkBook(self.folder)
        self._marked = 0

    def _look_back(self, recorder: Recorder, system_id: int | None) -> Past:
        note = read_session(recorder.folder)
        if note is None:
            # The card is full, and the folder not created yet.
            past = look_back(last_session(self._directory)[1], system_id)
            return self._updated(past, recorder)
        if note.may_continue is None:
            return Past(saved_state=self.saved_state)
        past = look_back(self._directory / note.may_continue, system_id)
        if past.newest is not None and past.newest.name != note.may_continue:
            # The sessions in between are blank: a later start need not read them.
            name = past.newest.name
            recorder.put("continues", lambda folder: note_may_continue(folder, name))
        return self._updated(past, recorder)

    def _updated(self, past: Past, recorder: Recorder) -> Past:
        """Update the saved state to the end of the last record: a trip begins with it."""
        sessions = [entry.session for entry in past.earlier]
        for n, entry in enumerate(past.earlier):
            if n and entry.undecided:
                self._update_carried(sessions[n], sessions[:n])
        saved = self._update(self.saved_state, sessions)
        if saved is not self.saved_state:
            recorder.put_file(CARRIED_NAME, carried_text(saved))
        return replace(past, saved_state=saved)

    def _update_carried(self, session: Session, earlier: Sequence[Session]) -> None:
        """Complete the update that a session was killed before doing itself."""
        carried = load_carried(session.folder)
        if carried is None or "at" not in carried:
            return
        saved = self._update(carried, earlier)
        if saved is carried:
            return
        try:
            write_whole(session.folder / CARRIED_NAME, carried_text(saved))
        except OSError as problem:
            log.warning("%s: %s", session.folder, problem.strerror)

    def _settle_alone(self, folder: Path) -> None:
        """Settle by the records the sessions that a new trip leaves undecided."""
        note = read_session(folder)
        if note is not None and note.may_continue is not None:
            write_all_settled(look_back(folder).judge(None).settled)

    def _save(self, saved: dict[str, Any] | None, session: str, marks: int) -> None:
        """Save the learned state, with the position in the records that it covers."""
        if saved is None:
            return
        at = {**saved.get("at", {}), "session": session, "marks": marks}
        try:
            save(self._directory, {**saved, "at": at})
        except OSError as problem:
            log.warning("what was learned could not be saved: %s", problem.strerror)
