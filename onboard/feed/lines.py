"""Lines of the feed: bytes split into lines of bounded length, however they were chunked."""

from onboard.contract.codec import ContractError, from_line
from onboard.contract.messages import Message

LONGEST_LINE_BYTES = 1_000_000
"""Longest line of the feed that is read. A snapshot is about 2 kB; common practice, no source: far
above it, far below the memory."""


class LineSplitter:
    """Cut bytes into lines, dropping any line longer than allowed.

    Parameters
    ----------
    longest_bytes
        Longest line, excluding its newline.
    """

    def __init__(self, longest_bytes: int = LONGEST_LINE_BYTES) -> None:
        self.longest_bytes = longest_bytes
        self.oversized_lines = 0
        self._rest = bytearray()
        self._dropping = False

    @property
    def pending_bytes(self) -> int:
        """Length of the line begun so far."""
        return len(self._rest)

    def feed(self, data: bytes) -> list[bytes]:
        """Return the lines that these bytes complete, without newlines."""
        *ended, rest = data.split(b"\n")
        lines = []
        for piece in ended:
            self._take(piece)
            if self._dropping:
                self._dropping = False
            else:
                lines.append(bytes(self._rest))
            self._rest.clear()
        self._take(rest)
        return lines

    def _take(self, piece: bytes) -> None:
        if self._dropping:
            return
        if len(self._rest) + len(piece) > self.longest_bytes:
            self.oversized_lines += 1
            self._dropping = True
            self._rest.clear()
        else:
            self._rest += piece


def decoded(line: bytes) -> Message | None:
    r"""Return the message in a line of the feed; None if this version cannot read it.

    Examples
    --------
    >>> decoded(b'{"schema": 2, "kind": "hello", "craft": "skiff", "rate_hz": 5.0}\n')
    Hello(craft='skiff', rate_hz=5.0)
    >>> decoded(b"220 ready\r\n") is None
    True
    """
    try:
        return from_line(line)
    except ContractError:
        return None
