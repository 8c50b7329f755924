"""The sessions that make up the present trip: decided by the autopilot's clocks, and written down.

A session states from its start that it may continue the previous one. So the trip is not lost if
the session ends before the decision, or if the autopilot is silent: a later start finds all
undecided sessions, back to the last settled one, and settles them as soon as the autopilot states
how long it has been running.
"""

import logging
import math
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from onboard.dataclass import dataclass
from onboard.files.whole_file import write_whole
from onboard.record.marks import read_marks
from onboard.record.sessions import SessionNote, note_continues, read_session
from onboard.restarts.record_clocks import RecordClocks, kept_running_between, record_clocks
from onboard.restarts.refold import (
    CARRIED_NAME,
    Session,
    carried_text,
    load_carried,
    recorded_bytes,
)
from onboard.ride.learned_file import Clocks

log = logging.getLogger("wattwake")


@dataclass(frozen=True)
class EarlierSession:
    """A session of a trip that may continue.

    Parameters
    ----------
    session
        The session, with its commands.
    undecided
        Whether it is undecided if it continues the previous one.
    clocks
        The autopilot's clocks in its record; None if not needed.
    """

    session: Session
    undecided: bool
    clocks: RecordClocks | None = None


@dataclass(frozen=True)
class Settled:
    """The trip to which a previously undecided session belongs.

    Parameters
    ----------
    folder
        The session's folder.
    continues
        Folder of the session whose trip it continues; None if it began one.
    first
        Folder of the first session of its trip.
    """

    folder: Path
    continues: Path | None
    first: Path


@dataclass(frozen=True)
class TripVerdict:
    """The decision by the autopilot's clocks.

    Parameters
    ----------
    sessions
        Earlier sessions of the present trip, oldest first; none if the trip begins now.
    settled
        Earlier sessions settled by it.
    """

    sessions: tuple[Session, ...]
    settled: tuple[Settled, ...]


@dataclass(frozen=True)
class Past:
    """The earlier sessions that the present trip may include, and the state they saved.

    Parameters
    ----------
    earlier
        The sessions, oldest first.
    saved_state
        Saved state (see `Ride.saved_state`) as of the end of the last of them; None without.
    """

    earlier: tuple[EarlierSession, ...] = ()
    saved_state: dict[str, Any] | None = None

    @property
    def newest(self) -> Path | None:
        """Folder of the last of them."""
        return self.earlier[-1].session.folder if self.earlier else None

    def judge(self, now: Clocks | None) -> TripVerdict:
        """Decide which sessions belong to the present trip, and settle the undecided ones.

        Parameters
        ----------
        now
            The autopilot's clocks; None to judge by the records only.
        """
        earlier = self.earlier
        known = [
            (n, entry.clocks)
            for n, entry in enumerate(earlier)
            if entry.clocks and entry.clocks.has_boot
        ]
        if now is not None:
            known.append((len(earlier), RecordClocks(now, now)))
        begins = {0}
        for n, same in enumerate(kept_running_between([clocks for _, clocks in known])):
            # Sessions with a silent autopilot belong to the next one.
            between = range(known[n][0] + 1, known[n + 1][0] + 1)
            undecided = [at for at in between if at == len(earlier) or earlier[at].undecided]
            if not same and undecided:
                begins.add(undecided[0])
        first = 0
        settled: list[Settled] = []
        for n, entry in enumerate(earlier):
            first = n if n in begins else first
            if entry.undecided:
                before = None if first == n else earlier[n - 1].session.folder
                settled.append(Settled(entry.session.folder, before, earlier[first].session.folder))
        first = len(earlier) if len(earlier) in begins else first
        return TripVerdict(tuple(entry.session for entry in earlier[first:]), tuple(settled))


def look_back(newest: Path | None, system_id: int | None = None) -> Past:
    """Find the sessions that a trip may include.

    Parameters
    ----------
    newest
        Folder of the last session that may belong to it.
    system_id
        MAVLink system to follow; None follows the one that sends most.
    """
    earlier = [
        EarlierSession(Session(folder, read_marks(folder)), bool(note and note.may_continue))
        for folder, note in _chain(newest)
    ]
    undecided = [n for n, entry in enumerate(earlier) if entry.undecided]
    oldest = undecided[0] if undecided else len(earlier)
    for n in reversed(range(len(earlier))):
        clocks = record_clocks(earlier[n].session.folder, system_id)
        earlier[n] = EarlierSession(earlier[n].session, earlier[n].undecided, clocks)
        if n < oldest and clocks.has_boot:
            break
    return Past(tuple(earlier))


def _chain(newest: Path | None) -> list[tuple[Path, SessionNote | None]]:
    """Return the sessions back to a certain beginning of a trip, oldest first.

    Blank sessions, without record and marks, are skipped unless a trip began with them.
    """
    chain: list[tuple[Path, SessionNote | None]] = []
    folder, number = newest, math.inf
    while folder is not None and folder.is_dir():
        note = read_session(folder)
        # Numbers decrease, so the chain ends even with damaged notes.
        if note is not None and note.number >= number:
            break
        before = None if note is None else note.continues or note.may_continue
        blank = not recorded_bytes(folder) and not read_marks(folder)
        if before is None or not blank:
            chain.append((folder, note))
        if note is None or before is None:
            break
        number, folder = note.number, folder.parent / before
    return chain[::-1]


def earlier_of_trip(folder: Path, note: SessionNote | None) -> Iterator[Path]:
    """Yield the sessions before a given one that belong to the same trip, newest first.

    Undecided ones are judged by the records; nothing is written.

    Parameters
    ----------
    folder
        The session's folder.
    note
        Its note, None without.
    """
    while note is not None:
        before = note.continues
        if note.may_continue is not None:
            settled = look_back(folder).judge(None).settled
            before = next(
                (
                    entry.continues.name
                    for entry in settled
                    if entry.folder == folder and entry.continues
                ),
                None,
            )
        if before is None:
            return
        number, folder = note.number, folder.parent / before
        note = read_session(folder)
        if note is not None and note.number >= number:
            return
        yield folder


def write_settled(settled: Settled) -> None:
    """Write down the settled trip of a session.

    Raises
    ------
    OSError
        If the card refuses it: it stays undecided, for a later start.
    """
    if settled.continues is not None:
        # First: a settled session has the initial state of its trip.
        write_whole(settled.folder / CARRIED_NAME, carried_text(load_carried(settled.first)))
    note_continues(settled.folder, settled.continues.name if settled.continues else None)


def write_all_settled(settled: Sequence[Settled]) -> None:
    """Write down the settled trips of several sessions; failed writes are logged."""
    for one in settled:
        try:
            write_settled(one)
        except OSError as problem:
            log.warning("%s: its trip could not be noted (%s)", one.folder, problem.strerror)
