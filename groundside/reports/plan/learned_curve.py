"""The craft's speed-power curve: as stored by the daemon beside its records, or from a log."""

from pathlib import Path

from groundside.reports.sessions.setup_shares import start_setup
from groundside.studies.plan import Knowledge
from onboard.dataclass import dataclass
from onboard.efficiency.curve.learner import Learner
from onboard.errors import UsageError
from onboard.profile import Profile
from onboard.record.marks import read_marks
from onboard.restarts.refold import replay
from onboard.ride import learned_file
from onboard.ride.ride import Ride
from onboard.telemetry.logs.formats import open_log
from onboard.telemetry.logs.log_files import Progress, session_folder


@dataclass(frozen=True)
class LearnedCurve:
    """A set-up's label, the source of its curve, and what is known of the craft with it."""

    setup: str
    source: str
    knowledge: Knowledge


def learned_curve(
    path: Path, setup: str | None, profile: Profile, progress: Progress | None = None
) -> LearnedCurve:
    """Return a set-up's curve.

    Parameters
    ----------
    path
        The folder of records, where the daemon stores its curves; or a session's folder or a log.
    setup
        The set-up's label; None if there is only one.
    profile
        The craft, needed for a log.
    progress
        Called with the bytes read so far from a log.

    Raises
    ------
    UsageError
        If there is no such curve.
    LogError
        If a log cannot be read.
    """
    if (path / learned_file.FILE_NAME).is_file():
        learner = _kept_by_daemon(path)
        labels = learner.carried
    else:
        learner = _learned_from_log(path, profile, progress)
        labels = tuple(label for label in learner.setups if learner.for_another_day(label))
    if not labels:
        raise UsageError(
            f"{path}: no curve was learned: ride half a minute steadily at each of a few speeds"
        )
    if setup is None and len(labels) > 1:
        raise UsageError(f"--setup: choose one of {', '.join(labels)}")
    label = setup or labels[0]
    known = learner.for_another_day(label)
    if known is None:
        raise UsageError(f"--setup {label}: no such curve in {path}; there is {', '.join(labels)}")
    return LearnedCurve(label, str(path), Knowledge(*known))


def _kept_by_daemon(folder: Path) -> Learner:
    raw = learned_file.load(folder)
    try:
        return Learner((raw or {}).get("curves"))
    except ValueError as problem:
        raise UsageError(f"{folder / learned_file.FILE_NAME}: {problem}") from None


def _learned_from_log(path: Path, profile: Profile, progress: Progress | None) -> Learner:
    if not path.exists():
        raise UsageError(f"{path}: nothing there to learn the curve from: use --from LOG")
    ride, folder = Ride(profile), session_folder(path)
    if folder:
        # Learn one curve per set-up, as the daemon does.
        ride.engine.select_setup(start_setup(folder))
    replay(ride, open_log(path).parts(progress), read_marks(folder) if folder else ())
    ride.finish()
    return ride.engine.learner
