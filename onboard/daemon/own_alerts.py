"""What the rider should know of how the daemon itself is running."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from onboard.contract.alerts import Alert, AlertCode
from onboard.errors import LinkError
from onboard.record.subscriber import Subscriber
from onboard.telemetry.mavlink.signing import RefusedFrames

SILENT_S = 2.0
"""A link that gave nothing for so long is said to be silent."""


@dataclass(frozen=True)
class Running:
    """How the daemon is running.

    Parameters
    ----------
    now_s
        Monotonic clock [s].
    link_problem
        Why the link is down, None while it is up.
    heard_s
        When the last bytes came, or the daemon began to listen [s].
    dropped_bytes
        How many bytes the daemon was too slow for.
    refused
        Frames that were refused for their signatures.
    record
        What is wrong with what is written down, as alerts.
    scan_faults, record_faults
        How often reading the link and recording failed.
    figures
        What is wrong with the figures, as alerts.
    failing
        Subscribers that failed lately.
    """

    now_s: float
    link_problem: LinkError | None
    heard_s: float
    dropped_bytes: int
    refused: RefusedFrames
    record: Sequence[Alert] = ()
    scan_faults: int = 0
    record_faults: int = 0
    figures: Sequence[Alert] = ()
    failing: Sequence[Subscriber] = ()


class OwnAlerts:
    """Alerts of the daemon, with how long each has been on."""

    def __init__(self) -> None:
        self._since_s: dict[AlertCode, float] = {}

    def now(self, running: Running) -> tuple[Alert, ...]:
        """Return what is on now."""
        found = {alert.code: alert for alert in _on(running)}
        self._since_s = {code: self._since_s.get(code, running.now_s) for code in found}
        return tuple(
            Alert(code, running.now_s - self._since_s[code], **alert.values)
            for code, alert in found.items()
        )


def _on(running: Running) -> Iterator[Alert]:
    if running.dropped_bytes:
        yield Alert(AlertCode.BYTES_DROPPED, bytes=running.dropped_bytes)
    silent_s = running.now_s - running.heard_s
    if (problem := running.link_problem) is not None:
        yield Alert(
            AlertCode.LINK_DOWN, link=problem.link, problem=problem.problem, errno=problem.number
        )
    elif silent_s > SILENT_S:
        yield Alert(AlertCode.LINK_SILENT, age_s=silent_s)
    refused = running.refused
    if refused.total:
        yield Alert(
            AlertCode.FRAMES_REFUSED,
            unsigned=refused.unsigned,
            wrong=refused.wrong_signature,
            repeated=refused.replayed,
        )
    yield from running.record
    yield from running.figures
    if running.scan_faults:
        yield Alert(AlertCode.SCAN_FAILED, faults=running.scan_faults)
    if running.record_faults:
        yield Alert(AlertCode.RECORD_FAILED, faults=running.record_faults)
    for one in running.failing:
        yield Alert(one.code, faults=one.faults)
