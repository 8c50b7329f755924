"""A saved log played as if it were live, at the pace of its stamps."""

import time
from collections.abc import Iterator
from pathlib import Path

from onboard.errors import LinkEndedError, LinkError, LogError
from onboard.telemetry.link.base import Part, Source
from onboard.telemetry.logs.formats import format_of
from onboard.telemetry.logs.telemetry_log import log_span_us, read_log


class LogFileLink:
    """Play a telemetry log once, in real time.

    Parameters
    ----------
    path
        The log, or a session's folder.

    Raises
    ------
    LinkError
        If it cannot be read.
    """

    def __init__(self, path: Path) -> None:
        self.name = f"file:{path}"
        try:
            if why := format_of(path).no_stream:
                raise LinkError(f"{self.name}: {why}")
            log_span_us(path)
        except LogError as problem:
            raise LinkError(str(problem), self.name, "cannot_open") from None
        self._frames = _stamped_frames(path)
        self._next: tuple[int, bytes] | None = None
        self._start: tuple[int, float] | None = None

    def read(self, timeout_s: float) -> list[Part]:
        """Return the frames that are due; see `Link.read`."""
        deadline = time.monotonic() + timeout_s
        while True:
            data = self._take_due()
            now = time.monotonic()
            if data or now >= deadline:
                return [Part(data)] if data else []
            time.sleep(min(0.02, deadline - now))

    @property
    def unsent_bytes(self) -> int:
        """Zero: there is no receiver."""
        return 0

    def write(self, data: bytes, _to: Source | None = None) -> None:
        """Do nothing: a saved log has no receiver."""

    def close(self) -> None:
        """Release the file."""
        self._frames = iter(())

    def _take_due(self) -> bytes:
        parts: list[bytes] = []
        while True:
            try:
                self._next = self._next or next(self._frames)
            except StopIteration:
                if parts:
                    return b"".join(parts)
                text = f"{self.name}: played to its end"
                raise LinkEndedError(text, self.name, "played") from None
            except LogError as problem:
                raise LinkError(str(problem), self.name) from None
            stamp_us, data = self._next
            now = time.monotonic()
            self._start = self._start or (stamp_us, now)
            if (stamp_us - self._start[0]) * 1e-6 > now - self._start[1]:
                return b"".join(parts)
            parts.append(data)
            self._next = None


def _stamped_frames(path: Path) -> Iterator[tuple[int, bytes]]:
    for frames in read_log(path):
        data = frames.data.tobytes()
        for stamp_us, at, size in zip(
            frames.stamp_us.tolist(), frames.marker.tolist(), frames.size.tolist(), strict=True
        ):
            yield stamp_us, data[at : at + size]
