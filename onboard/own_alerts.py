"""What the rider should know of how the daemon itself is running."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from onboard.efficiency.alerts import Alert
from onboard.subscriber import Subscriber
from onboard.telemetry.signing import Refused

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
    card
        What is wrong with what is written down, in sentences.
    moved
        Why recording went on in another file, in a sentence; None if it did not.
    scan_faults, record_faults
        How often reading the link and recording failed.
    figures
        Code and sentence of what is wrong with the figures.
    failing
        Subscribers that failed lately.
    """

    now_s: float
    link_problem: str | None
    heard_s: float
    dropped_bytes: int
    refused: Refused
    card: Sequence[str]
    moved: str | None = None
    scan_faults: int = 0
    record_faults: int = 0
    figures: Sequence[tuple[str, str]] = ()
    failing: Sequence[Subscriber] = ()


class OwnAlerts:
    """Alerts of the daemon, with how long each has been on."""

    def __init__(self) -> None:
        self._since_s: dict[str, float] = {}

    def now(self, running: Running) -> tuple[Alert, ...]:
        """Give what is on now."""
        found = {code: (level, text) for code, level, text in _told(running)}
        self._since_s = {code: self._since_s.get(code, running.now_s) for code in found}
        return tuple(
            Alert(code, level, text, running.now_s - self._since_s[code])
            for code, (level, text) in found.items()
        )


def _told(running: Running) -> Iterator[tuple[str, str, str]]:
    if running.dropped_bytes:
        text = f"This board was too slow: {running.dropped_bytes} bytes of telemetry were dropped."
        yield "bytes_dropped", "warning", text
    silent_s = running.now_s - running.heard_s
    if running.link_problem is not None:
        yield "link_down", "warning", running.link_problem
    elif silent_s > SILENT_S:
        text = f"Nothing over the link for {silent_s:.0f} s: check its cable."
        yield "link_silent", "warning", text
    refused = running.refused
    if refused.total:
        text = (
            f"{refused.total} frames were refused: {refused.unsigned} unsigned, "
            f"{refused.wrong_signature} wrongly signed, {refused.replayed} repeated."
        )
        yield "frames_refused", "note", text
    if running.card:
        yield "record_stopped", "warning", " ".join(running.card)
    if running.moved is not None:
        yield "record_moved", "warning", running.moved
    yield from _faults(running)


def _faults(running: Running) -> Iterator[tuple[str, str, str]]:
    """Give what is to be known of each part of the program that failed."""
    for code, text in running.figures:
        yield code, "warning", text
    if count := running.scan_faults:
        text = f"Faults reading the link: {count}. What came in just then may be missing."
        yield "scan_failed", "warning", text
    if count := running.record_faults:
        text = f"Faults in the recorder: {count}. See the daemon's log."
        yield "record_failed", "warning", text
    for one in running.failing:
        text = f"Program faults in {one.what}: {one.faults}. It is tried again."
        yield one.code, "warning", f"{text} Recording goes on."
