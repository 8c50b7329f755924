"""How old the figures are, and when they are too old to ride by."""

from groundside.source import ReplayState
from onboard.contract.figure import Unknown
from onboard.contract.snapshot import Snapshot

SILENT_S = 2.0
"""No snapshot for so long [s]: ten missed in a row at the feed's 5 Hz."""
OLD_TELEMETRY_S = 5.0
"""The daemon's newest telemetry is so old [s], though the feed runs."""


def data_age_s(
    snapshot: Snapshot, since_received_s: float, replay: ReplayState | None = None
) -> float | None:
    """Give the age of the newest telemetry [s], None where the snapshot does not say.

    Parameters
    ----------
    snapshot
        The newest.
    since_received_s
        How long ago it came [s].
    replay
        Where the replay is, of a saved ride: one that stands still does not age.
    """
    age_s = snapshot.link.age_s
    if isinstance(age_s, Unknown):
        return None
    still = replay is not None and replay.stands_still
    return age_s if still else age_s + max(0.0, since_received_s)


def is_stale(
    snapshot: Snapshot, since_received_s: float, replay: ReplayState | None = None
) -> bool:
    """Tell whether the figures are too old to ride by; parameters as of `data_age_s`."""
    age_s = snapshot.link.age_s
    if not isinstance(age_s, Unknown) and age_s > OLD_TELEMETRY_S:
        return True
    return since_received_s > SILENT_S and not (replay is not None and replay.stands_still)
