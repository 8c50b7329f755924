"""Alerts of the daemon itself: link, record, faults."""

from collections.abc import Iterator, Sequence

from onboard.contract.alerts import Alert, AlertCode
from onboard.dataclass import dataclass
from onboard.errors import LinkError
from onboard.record.subscriber import Subscriber
from onboard.telemetry.mavlink.signing import RefusedFrames

SILENT_S = 2.0
"""Silence of the link that raises an alert [s]."""


@dataclass(frozen=True)
class Running:
    """State of the daemon.

    Parameters
    ----------
    now_s
        Monotonic time [s].
    link_problem
        Why the link is down, None while it is up.
    received_s
        Time of the last bytes, or of the start of the run [s].
    dropped_bytes
        Bytes dropped because the daemon was too slow.
    refused
        Frames refused for their signatures.
    record
        Alerts of the record.
    scan_faults, record_faults
        Counts of faults in scanning the link and in recording.
    figures
        Alerts of the figures.
    failing
        Subscribers that failed recently.
    """

    now_s: float
    link_problem: LinkError | None
    received_s: float
    dropped_bytes: int
    refused: RefusedFrames
    record: Sequence[Alert] = ()
    scan_faults: int = 0
    record_faults: int = 0
    figures: Sequence[Alert] = ()
    failing: Sequence[Subscriber] = ()


class OwnAlerts:
    """The daemon's alerts, with the time since each was raised."""

    def __init__(self) -> None:
        self._since_s: dict[AlertCode, float] = {}

    def now(self, running: Running) -> tuple[Alert, ...]:
        """Return the alerts that are on."""
        present = {alert.code: alert for alert in _alerts(running)}
        self._since_s = {code: self._since_s.get(code, running.now_s) for code in present}
        return tuple(
            Alert(code, running.now_s - self._since_s[code], **alert.values)
            for code, alert in present.items()
        )


def _alerts(running: Running) -> Iterator[Alert]:
    if running.dropped_bytes:
        yield Alert(AlertCode.BYTES_DROPPED, bytes=running.dropped_bytes)
    silent_s = running.now_s - running.received_s
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
    for subscriber in running.failing:
        yield Alert(subscriber.code, faults=subscriber.faults)
