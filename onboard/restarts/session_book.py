"""What a run of the daemon writes down: record, marks, and what was learned.

None of it may stop the figures: what the card refuses is reported, and tried again.
"""

import logging
import time
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from dataclasses import replace
from pathlib import Path
from typing import Any

from onboard.contract.alerts import Alert
from onboard.files.background_writer import Saver
from onboard.files.whole_file import write_whole
from onboard.record.marks import MarkBook, Noted, read_marks
from onboard.record.recorder import CLOSE_WITHIN_S, Recorder
from onboard.record.sessions import last_session, note_may_continue, read_session
from onboard.restarts.rejoin import CARRIED_NAME, Session, carried_text, load_carried
from onboard.restarts.trip_journal import Past, Settled, Verdict, look_back, write_down, write_one
from onboard.ride.learned_file import load, save
from onboard.telemetry.mavlink.frames import Frames

SAVE_EVERY_S = 30.0
"""What was learned is written down at this pace: few writes are kind to a card."""

Kept = dict[str, Any] | None

log = logging.getLogger("wattwake")


class SessionBook:
    """Writes down one run of the daemon, session by session.

    Parameters
    ----------
    directory
        The folder of all sessions.
    start_us
        The clock of the frames' stamps at the start [us].
    profile_text
        The profile to keep beside the record, None without.
    system_id
        The MAVLink system to follow; None follows the one that sends most.
    catch_up
        Brings what was kept up to the end of these sessions' records; see `last_charge`.

    Raises
    ------
    RecordError
        If nothing can be written there, for a reason that does not pass by itself.
    """

    def __init__(
        self,
        directory: Path,
        start_us: int,
        profile_text: str | None,
        system_id: int | None = None,
        catch_up: Callable[[Kept, Sequence[Session]], Kept] = lambda kept, _: kept,
    ) -> None:
        self._directory = directory
        self._profile_text = profile_text
        self._catch_up = catch_up
        self.kept = load(directory)
        """What earlier runs left, None where there is nothing of use."""
        self._saver = Saver()
        self._saving: Future[None] | None = None
        self._save_due_s = 0.0
        self._marks_in = directory
        self._begin(start_us, self.kept)
        self.past: Future[Past] = self._saver.submit(self._look_back, self._recorder, system_id)
        """What is found of the trip that may go on; as slow as the card is."""

    @property
    def folder(self) -> Path:
        """The folder of the present session."""
        return self._recorder.folder

    @property
    def alerts(self) -> list[Alert]:
        """What is wrong with what is written down."""
        recorder = self._recorder
        every = (recorder.problem, recorder.moved, self._marks.problem)
        return [one for one in every if one is not None]

    @property
    def behind(self) -> bool:
        """Whether the card refuses the record, so that frames wait for it."""
        return self._recorder.behind

    def write(self, frames: Frames, now_us: int) -> None:
        """Take frames; to be called often, frames or not."""
        self._recorder.write(frames, now_us)

    def flush(self) -> bool:
        """Wait until all that was taken is in the record, and tell whether it is."""
        return self._recorder.flush()

    def note_utc(self, utc: str, now_us: int) -> None:
        """Keep, once, what UTC the autopilot states at a stamp [us]."""
        self._recorder.note_utc(utc, now_us)

    def mark(self, one: Noted) -> None:
        """Write down what was said."""
        if self._marks_in != self.folder:
            # The card was full at the start, and the folder got another name.
            self._marks_in = self.folder
            self._marks = MarkBook(self._marks_in)
        self._marks.write(one)
        self._marked += 1
        self._saver.submit(self._marks.sync)

    def settle(self, verdict: Verdict) -> None:
        """Write down what is known now of the trip of this session and of those before it."""
        self._saver.submit(write_down, verdict.settled)
        folders = [one.folder for one in verdict.sessions]

        def write(folder: Path) -> None:
            before, first = (folders[-1], folders[0]) if folders else (None, folder)
            write_one(Settled(folder, before, first))

        self._recorder.note("continues", write)

    def save_if_due(self, now_s: float, kept: Callable[[], dict[str, Any] | None]) -> bool:
        """Write down what was learned, if it is time and the card is done with the last.

        It tells whether it did.

        Parameters
        ----------
        now_s
            Monotonic clock [s].
        kept
            Gives what is to be kept; see `Ride.kept`.
        """
        if now_s < self._save_due_s or (self._saving is not None and not self._saving.done()):
            return False
        self._save_due_s = now_s + SAVE_EVERY_S
        self._saving = self._saver.submit(self._save, kept(), self.folder.name, self._marked)
        return True

    def present(self, until_us: int | None = None) -> Session:
        """Return the present session as it can be folded again.

        Parameters
        ----------
        until_us
            Up to which stamp [us]; None: to the end.
        """
        return Session(self.folder, read_marks(self.folder), until_us)

    def begin_anew(self, start_us: int, kept: dict[str, Any] | None) -> None:
        """Begin a session for a new trip, and end the one before.

        Raises
        ------
        RecordError
            If none can be begun: then the one before goes on.
        """
        before = self._recorder
        self._begin(start_us, kept, anew=True)
        # In a thread: a slow card must not hold up the figures.
        self._saver.submit(before.close)
        self._saver.submit(self._settle_alone, before.folder)
        self._saver.submit(self._save, kept, self.folder.name, 0)

    def close(self, kept: dict[str, Any] | None, within_s: float = CLOSE_WITHIN_S) -> None:
        """Write what is left and end the session; wait no longer than this for the card [s]."""
        until_s = time.monotonic() + within_s
        self._saver.submit(self._save, kept, self.folder.name, self._marked)
        self._recorder.close(within_s)
        if not self._saver.close(max(until_s - time.monotonic(), 0.0)):
            log.error("the card does not answer: what was learned last is not saved")

    def _begin(self, start_us: int, kept: dict[str, Any] | None, *, anew: bool = False) -> None:
        self._recorder = Recorder(
            self._directory,
            start_us,
            self._profile_text,
            anew=anew,
            beside={CARRIED_NAME: carried_text(kept)},
        )
        self._marks_in = self.folder
        self._marks = MarkBook(self._marks_in)
        self._marked = 0

    def _look_back(self, recorder: Recorder, system_id: int | None) -> Past:
        note = read_session(recorder.folder)
        if note is None:
            # The card is full, and the folder not made yet.
            past = look_back(last_session(self._directory)[1], system_id)
            return self._caught_up(past, recorder)
        if note.may_continue is None:
            return Past(kept=self.kept)
        past = look_back(self._directory / note.may_continue, system_id)
        if past.newest is not None and past.newest.name != note.may_continue:
            # Those in between are blank: a later start need not look at them.
            name = past.newest.name
            recorder.note("continues", lambda folder: note_may_continue(folder, name))
        return self._caught_up(past, recorder)

    def _caught_up(self, past: Past, recorder: Recorder) -> Past:
        """Return what was kept as it was at the end of the last record; a trip begins with that."""
        sessions = [one.session for one in past.parts]
        for n, one in enumerate(past.parts):
            if n and one.undecided:
                self._catch_up_beginning(sessions[n], sessions[:n])
        kept = self._catch_up(self.kept, sessions)
        if kept is not self.kept:
            recorder.keep(CARRIED_NAME, carried_text(kept))
        return replace(past, kept=kept)

    def _catch_up_beginning(self, session: Session, earlier: Sequence[Session]) -> None:
        """Do for one that was killed before it had looked back what it would have done itself."""
        carried = load_carried(session.folder)
        if carried is None or "at" not in carried:
            return
        kept = self._catch_up(carried, earlier)
        if kept is carried:
            return
        try:
            write_whole(session.folder / CARRIED_NAME, carried_text(kept))
        except OSError as problem:
            log.warning("%s: %s", session.folder, problem.strerror)

    def _settle_alone(self, folder: Path) -> None:
        """Settle by the records what a new trip leaves undecided."""
        note = read_session(folder)
        if note is not None and note.may_continue is not None:
            write_down(look_back(folder).judge(None).settled)

    def _save(self, kept: dict[str, Any] | None, session: str, marks: int) -> None:
        """Write down what was learned, and up to which place of the records it goes."""
        if kept is None:
            return
        at = {**kept.get("at", {}), "session": session, "marks": marks}
        try:
            save(self._directory, {**kept, "at": at})
        except OSError as problem:
            log.warning("what was learned could not be saved: %s", problem.strerror)
