"""Age of the figures, and when they are stale: too old to ride by.

Live figures are as old as the telemetry was at the craft, plus the time since they arrived. In a
replay or the demo they are as old as they were on the water: only gaps in the log age them, never
the viewer's clock, however fast the replay and however busy the machine.
"""

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
        State of a replay, None if live.
    """
    age_s = snapshot.link.age_s
    if isinstance(age_s, Unknown):
        return None
    return age_s + _waited_s(since_received_s, replay)


def is_stale(
    snapshot: Snapshot, since_received_s: float, replay: ReplayState | None = None
) -> bool:
    """Return whether the figures are too old to ride by; parameters as for `data_age_s`."""
    age_s = snapshot.link.age_s
    if not isinstance(age_s, Unknown) and age_s > OLD_TELEMETRY_S:
        return True
    return _waited_s(since_received_s, replay) > SILENT_S


def _waited_s(since_received_s: float, replay: ReplayState | None) -> float:
    """Return the time without a snapshot that counts towards the figures' age [s]."""
    return max(0.0, since_received_s) if replay is None else 0.0
