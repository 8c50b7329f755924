"""What a run of the daemon writes down: record, marks, and what was learned.

Nothing of it may stop the figures: what a card refuses is told, and tried again.
"""

import logging
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import Any

from onboard.kept import load, save
from onboard.marks import MarkBook, Noted, read_marks
from onboard.rejoin import CARRIED_NAME, Session, carried_text, load_carried
from onboard.sessions import latest_session, read_session
from onboard.telemetry.frames import Frames
from onboard.telemetry.recorder import Recorder

SAVE_EVERY_S = 30.0
"""What was learned is written down at this pace: few writes are kind to a card."""

CHAIN_MOST = 200
"""A trip of more sessions than this is a fault in what they say of each other."""

log = logging.getLogger("wattwake")


def earlier_sessions(directory: Path) -> list[Session]:
    """Give the sessions of the trip that went on when the daemon last ran, oldest first."""
    chain: list[Path] = []
    folder = latest_session(directory)
    while folder is not None and folder not in chain and len(chain) < CHAIN_MOST:
        chain.append(folder)
        note = read_session(folder)
        folder = directory / note.continues if note and note.continues else None
    return [Session(folder, read_marks(folder)) for folder in reversed(chain) if folder.is_dir()]


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

    Raises
    ------
    UsageError
        If nothing can be written there, for a reason that does not pass by itself.
    """

    def __init__(self, directory: Path, start_us: int, profile_text: str | None) -> None:
        self._directory = directory
        self._profile_text = profile_text
        self.kept = load(directory)
        """What earlier runs left, None where there is nothing of use."""
        self.earlier = earlier_sessions(directory)
        self._saver = ThreadPoolExecutor(1, thread_name_prefix="save")
        self._saving: Future[None] | None = None
        self._save_due_s = 0.0
        self._marks_in = directory
        self._begin(start_us, self.kept)

    @property
    def folder(self) -> Path:
        """The folder of the present session."""
        return self._recorder.folder

    @property
    def problems(self) -> list[str]:
        """What is wrong with the card, in sentences."""
        return [one for one in (self._recorder.problem, self._marks.problem) if one is not None]

    def write(self, frames: Frames, now_us: int, utc: str | None) -> None:
        """Take frames, and what UTC the autopilot states; to be called at every tick."""
        self._recorder.write(frames, now_us)
        if utc is not None:
            self._recorder.note_utc(utc, now_us)

    def mark(self, one: Noted) -> None:
        """Write down what was said."""
        if self._marks_in != self.folder:
            # The card was full at the start, and the folder got another name.
            self._marks_in = self.folder
            self._marks = MarkBook(self._marks_in)
        self._marks.write(one)
        self._saver.submit(self._marks.sync)

    def goes_on(self, sessions: tuple[Session, ...]) -> None:
        """Write down that this session's trip is that of earlier ones, oldest first."""
        self._recorder.note_continues(sessions[-1].folder.name)
        carried = load_carried(sessions[0].folder)
        self._recorder.keep(CARRIED_NAME, carried_text(carried))

    def save_if_due(self, now_s: float, kept: Callable[[], dict[str, Any]]) -> bool:
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
        self._saving = self._saver.submit(self._save, kept())
        return True

    def present(self, until_us: int | None = None) -> Session:
        """Give the present session as it can be folded again.

        Parameters
        ----------
        until_us
            Up to which stamp [us]; None: to the end.
        """
        return Session(self.folder, read_marks(self.folder), until_us)

    def begin_anew(self, start_us: int, kept: dict[str, Any]) -> None:
        """Begin a session for a new trip, and end the one before.

        Raises
        ------
        UsageError
            If none can be begun: then the one before goes on.
        """
        before = self._recorder
        self._begin(start_us, kept)
        # In a thread: a slow card must not hold up the figures.
        self._saver.submit(before.close)
        self._saver.submit(self._save, kept)

    def close(self, kept: dict[str, Any]) -> None:
        """Write what is left, and end the session."""
        self._recorder.close()
        self._saver.shutdown()
        self._save(kept)

    def _begin(self, start_us: int, kept: dict[str, Any] | None) -> None:
        self._recorder = Recorder(self._directory, start_us, self._profile_text)
        self._recorder.keep(CARRIED_NAME, carried_text(kept))
        self._marks_in = self.folder
        self._marks = MarkBook(self._marks_in)

    def _save(self, kept: dict[str, Any]) -> None:
        try:
            save(self._directory, kept)
        except OSError as problem:
            log.warning("what was learned could not be saved: %s", problem.strerror)
