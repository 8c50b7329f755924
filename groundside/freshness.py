"""How old the figures are, and when they are too old to ride by."""

from groundside.figures import number, part
from groundside.source import Snapshot

SILENT_S = 2.0
"""No snapshot for so long [s]: ten missed in a row at the feed's 5 Hz."""
OLD_TELEMETRY_S = 5.0
"""The daemon's newest telemetry is so old [s], though the feed runs."""


def _stands_still(snapshot: Snapshot) -> bool:
    """Tell whether a replay stands, paused or at its end: nothing new is due then."""
    replay = part(snapshot, "replay")
    at_s, duration_s = number(replay.get("t_s")), number(replay.get("duration_s"))
    at_end = at_s is not None and duration_s is not None and at_s >= duration_s
    return replay.get("paused") is True or at_end


def data_age_s(snapshot: Snapshot, since_received_s: float) -> float | None:
    """Give the age of the newest telemetry [s], None where the snapshot does not say.

    Examples
    --------
    >>> data_age_s({"link": {"age_s": 0.25}}, 1.0)
    1.25
    """
    age_s = number(part(snapshot, "link").get("age_s"))
    if age_s is None:
        return None
    return age_s if _stands_still(snapshot) else age_s + max(0.0, since_received_s)


def is_stale(snapshot: Snapshot, since_received_s: float) -> bool:
    """Tell whether the figures are too old to ride by.

    Examples
    --------
    >>> is_stale({"link": {"age_s": 0.1}}, 0.3), is_stale({"link": {"age_s": 6.0}}, 0.3)
    (False, True)
    """
    age_s = number(part(snapshot, "link").get("age_s"))
    if age_s is not None and age_s > OLD_TELEMETRY_S:
        return True
    return since_received_s > SILENT_S and not _stands_still(snapshot)
