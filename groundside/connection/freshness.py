"""Age of the figures, and when they are stale: too old to ride by."""

from groundside.connection.source import ReplayState
from onboard.contract.figure import Unknown
from onboard.contract.snapshot import Snapshot

SILENT_S = 2.0
"""Figures are stale after this long without a snapshot [s]: ten missed in a row at 5 Hz."""
OLD_TELEMETRY_S = 5.0
"""Figures are stale if the telemetry is older than this, even while the feed runs [s]."""


def data_age_s(
    snapshot: Snapshot, since_received_s: float, replay: ReplayState | None = None
) -> float | None:
    """Return the age of the newest telemetry [s], None if the snapshot has none.

    Parameters
    ----------
    snapshot
        The newest snapshot.
    since_received_s
        Time since it arrived [s].
    replay
        State of a replay, if any: data do not age while it is paused or at its end.
    """
    age_s = snapshot.link.age_s
    if isinstance(age_s, Unknown):
        return None
    still = replay is not None and replay.stands_still
    return age_s if still else age_s + max(0.0, since_received_s)


def is_stale(
    snapshot: Snapshot, since_received_s: float, replay: ReplayState | None = None
) -> bool:
    """Return whether the figures are too old to ride by; parameters as for `data_age_s`."""
    age_s = snapshot.link.age_s
    if not isinstance(age_s, Unknown) and age_s > OLD_TELEMETRY_S:
        return True
    return since_received_s > SILENT_S and not (replay is not None and replay.stands_still)
