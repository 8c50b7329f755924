"""Which sessions make up the present trip: decided by the autopilot's clocks, and written down.

A session states from its start that it may go on with the one before. So the trip is not lost if
the session ends before that is known, or if no autopilot is heard: a later start finds all that is
undecided, back to what is settled, and settles it as soon as the autopilot says how long it has
been running.
"""

import logging
import math
from collections.abc import Iterator, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from onboard.files.whole_file import write_whole
from onboard.record.marks import read_marks
from onboard.record.sessions import SessionNote, note_continues, read_session
from onboard.restarts.record_clocks import Heard, record_clocks, same_run
from onboard.restarts.rejoin import CARRIED_NAME, Said, Session, carried_text, load_carried
from onboard.ride.learned_file import Clocks
from onboard.telemetry.logs.log_files import log_bytes, record_files
from onboard.telemetry.mavlink.frames import Frames

DECIDE_AFTER_S = 20.0
"""An autopilot that knows the time of day has given it by then."""

HELD_MOST = 20_000
"""Frames held until it is decided; if more come in, the record is read instead."""

log = logging.getLogger("wattwake")


@dataclass(frozen=True)
class Part:
    """A session of a trip that may still go on.

    Parameters
    ----------
    session
        The session, with what was said in it.
    undecided
        Whether it is still open that it goes on with the part before it.
    heard
        The autopilot's clocks in its record; None where they were not needed.
    """

    session: Session
    undecided: bool
    heard: Heard | None = None


@dataclass(frozen=True)
class Settled:
    """What has been settled about a session that was undecided.

    Parameters
    ----------
    folder
        The session's.
    continues
        The session whose trip it goes on with; None: it began one.
    first
        The first session of its trip.
    """

    folder: Path
    continues: Path | None
    first: Path


@dataclass(frozen=True)
class Verdict:
    """What the autopilot's clocks decide.

    Parameters
    ----------
    sessions
        The earlier sessions of the present trip, oldest first; none where the trip begins now.
    settled
        What that settles about earlier sessions.
    """

    sessions: tuple[Session, ...]
    settled: tuple[Settled, ...]


@dataclass(frozen=True)
class Past:
    """The earlier sessions that the present trip may consist of, oldest first, and what they left.

    Parameters
    ----------
    parts
        The sessions.
    kept
        What was kept, as it was at the end of the last of them; None where there is nothing.
    """

    parts: tuple[Part, ...] = ()
    kept: dict[str, Any] | None = None

    @property
    def newest(self) -> Path | None:
        """The folder of the last of them."""
        return self.parts[-1].session.folder if self.parts else None

    def judge(self, now: Clocks | None) -> Verdict:
        """Tell which belong to the present trip, and settle what was undecided.

        Parameters
        ----------
        now
            The autopilot's clocks; None where only the records are to be judged.
        """
        parts = self.parts
        heard = [(n, one.heard) for n, one in enumerate(parts) if one.heard and one.heard.anything]
        if now is not None:
            heard.append((len(parts), Heard(now, now)))
        begins = {0}
        for n, same in enumerate(same_run([clocks for _, clocks in heard])):
            # Sessions in between, in which no autopilot was heard, belong to the one after them.
            between = range(heard[n][0] + 1, heard[n + 1][0] + 1)
            undecided = [at for at in between if at == len(parts) or parts[at].undecided]
            if not same and undecided:
                begins.add(undecided[0])
        first = 0
        settled: list[Settled] = []
        for n, one in enumerate(parts):
            first = n if n in begins else first
            if one.undecided:
                before = None if first == n else parts[n - 1].session.folder
                settled.append(Settled(one.session.folder, before, parts[first].session.folder))
        first = len(parts) if len(parts) in begins else first
        return Verdict(tuple(one.session for one in parts[first:]), tuple(settled))


def look_back(newest: Path | None, system_id: int | None = None) -> Past:
    """Find the sessions that a trip may consist of.

    Parameters
    ----------
    newest
        The folder of the last session that may belong to it.
    system_id
        The MAVLink system to follow; None follows the one that sends most.
    """
    parts = [
        Part(Session(folder, read_marks(folder)), bool(note and note.may_continue))
        for folder, note in _chain(newest)
    ]
    undecided = [n for n, one in enumerate(parts) if one.undecided]
    oldest = undecided[0] if undecided else len(parts)
    for n in reversed(range(len(parts))):
        heard = record_clocks(parts[n].session.folder, system_id)
        parts[n] = Part(parts[n].session, parts[n].undecided, heard)
        if n < oldest and heard.anything:
            break
    return Past(tuple(parts))


def _chain(newest: Path | None) -> list[tuple[Path, SessionNote | None]]:
    """Return the sessions back to where a trip surely began, oldest first.

    One in which nothing was recorded and nothing said is passed over, unless a trip began with it.
    """
    chain: list[tuple[Path, SessionNote | None]] = []
    folder, number = newest, math.inf
    while folder is not None and folder.is_dir():
        note = read_session(folder)
        # Numbers fall, so there is an end whatever damaged notes say.
        if note is not None and note.number >= number:
            break
        before = None if note is None else note.continues or note.may_continue
        if before is None or not _is_blank(folder):
            chain.append((folder, note))
        if note is None or before is None:
            break
        number, folder = note.number, folder.parent / before
    return chain[::-1]


def _is_blank(folder: Path) -> bool:
    try:
        recorded = log_bytes(record_files(folder)) > 0
    except OSError:
        recorded = False
    return not recorded and not read_marks(folder)


def earlier_of_trip(folder: Path, note: SessionNote | None) -> Iterator[Path]:
    """Return the sessions before one that belong to the same trip, newest first.

    What is undecided is judged by the records, and nothing is written.

    Parameters
    ----------
    folder
        The session's folder.
    note
        What the folder says of it, None without.
    """
    while note is not None:
        before = note.continues
        if note.may_continue is not None:
            settled = look_back(folder).judge(None).settled
            before = next(
                (one.continues.name for one in settled if one.folder == folder and one.continues),
                None,
            )
        if before is None:
            return
        number, folder = note.number, folder.parent / before
        note = read_session(folder)
        if note is not None and note.number >= number:
            return
        yield folder


def write_one(one: Settled) -> None:
    """Write down what is settled of a session.

    Raises
    ------
    OSError
        If the card refuses it: it stays undecided, for a later start.
    """
    if one.continues is not None:
        # First: a session that is settled has what its trip began with.
        write_whole(one.folder / CARRIED_NAME, carried_text(load_carried(one.first)))
    note_continues(one.folder, one.continues.name if one.continues else None)


def write_down(settled: Sequence[Settled]) -> None:
    """Write down what is settled of several sessions; what the card refuses is logged."""
    for one in settled:
        try:
            write_one(one)
        except OSError as problem:
            log.warning("%s: its trip could not be noted (%s)", one.folder, problem.strerror)


@dataclass
class Rejoin:
    """Decides which sessions the present trip began in, and holds what comes in until then.

    Parameters
    ----------
    past
        What the look back finds.
    """

    past: "Future[Past]"
    held: list[Frames | Said] = field(default_factory=list)
    """Frames, and what was said, since the daemon started."""
    overrun: bool = False
    """Whether too much came in: it is on the card, and no longer held."""
    _count: int = 0
    _since_s: float = math.nan

    def take(self, part: Frames | Said) -> None:
        """Hold frames given to the present ride, or what was said to it."""
        if isinstance(part, Frames):
            self._count += len(part)
            self.overrun = self.overrun or self._count > HELD_MOST
        if self.overrun:
            self.held.clear()
        elif not isinstance(part, Frames) or len(part):
            self.held.append(part)

    def verdict(self, clocks: Clocks, now_s: float) -> Verdict | None:
        """Tell which sessions belong to the present trip; None while that is not known.

        Parameters
        ----------
        clocks
            The autopilot's, NaN where not heard yet.
        now_s
            The caller's monotonic clock [s].
        """
        if not math.isfinite(clocks.boot_s):
            return None
        if math.isnan(self._since_s):
            self._since_s = now_s
        if not math.isfinite(clocks.utc_s) and now_s - self._since_s < DECIDE_AFTER_S:
            return None
        return self.past.result().judge(clocks) if self.past.done() else None
