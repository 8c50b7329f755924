"""A trial that carries on after a restart: power is often cut to swap a propeller or a pack.

If a trial is in force when a session ends, the next session begins with it: its set-ups, the
set-up on the craft and the power are set again, with marks like the rider's own. So `compare` and
the coach find them in every session of the day.
"""

import itertools
import logging
from pathlib import Path

from onboard.coach.practice import CARRIED_WITHIN_S, SESSIONS_MOST
from onboard.contract.commands import TARGETS, Set, TrialPlan
from onboard.dataclass import dataclass
from onboard.efficiency.curve.learner import PLAIN_SETUP
from onboard.record.marked_runs import in_force_after
from onboard.record.marks import TimedCommand, read_marks
from onboard.record.sessions import last_session, sessions

log = logging.getLogger("wattwake")


@dataclass(frozen=True)
class CarriedTrial:
    """A trial in force when the daemon ended.

    Parameters
    ----------
    plan
        The trial; None if there was none.
    commands
        The commands that restore it.
    folders
        The sessions it was ridden in, oldest first.
    """

    plan: TrialPlan | None = None
    commands: tuple[Set, ...] = ()
    folders: tuple[Path, ...] = ()

    def followed_by(self, plan: TrialPlan | None, folders: list[Path]) -> "CarriedTrial":
        """Return what carries on after some more sessions with a trial."""
        if plan is None:
            return CarriedTrial()
        new = tuple(folder for folder in folders if folder not in self.folders)
        return CarriedTrial(plan, (), (*self.folders, *new))


def carried_trial(directory: Path, now_us: int) -> CarriedTrial:
    """Return the trial to carry on with.

    Parameters
    ----------
    directory
        Folder of all sessions.
    now_us
        Present time by the clock of the record's stamps [us].
    """
    try:
        _, newest = last_session(directory)
        last = read_marks(newest) if newest is not None else ()
        setup, plan = in_force_after(last)
        if plan is None or now_us - last[-1].stamp_us > CARRIED_WITHIN_S * 1e6:
            return CarriedTrial()
        newest_first = sessions(directory)[:SESSIONS_MOST]
    except OSError as problem:
        log.warning("%s: %s: no trial goes on", directory, problem.strerror)
        return CarriedTrial()
    same = itertools.takewhile(
        lambda folder: in_force_after(read_marks(folder))[1] is not None, newest_first
    )
    commands = [Set(0, "trial", plan)]
    if setup != PLAIN_SETUP:
        commands.append(Set(0, "setup", setup))
    if (power_w := _power_w(last)) is not None:
        commands.append(Set(0, "target_power_w", power_w))
    return CarriedTrial(plan, tuple(commands), tuple(reversed([*same])))


def _power_w(marks: tuple[TimedCommand, ...]) -> float | None:
    """Return the target power in force after some marks; another target replaces it."""
    power_w: float | None = None
    for one in marks:
        command = one.command
        if isinstance(command, Set) and command.key in TARGETS:
            value = command.value if command.key == "target_power_w" else None
            power_w = value if isinstance(value, float) else None
    return power_w
