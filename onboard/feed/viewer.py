"""One connected viewer, with bounds on traffic in both directions."""

import asyncio
import ipaddress
from typing import Any

from onboard.contract.refusals import Refusal
from onboard.feed.lines import LineSplitter
from onboard.feed.token_bucket import TokenBucket

SEND_BUFFER_BYTES = 16 * 1024
"""Small, so that a viewer that stopped reading is noticed within seconds, not minutes."""

STANDSTILL_S = 10.0
"""A viewer that accepts no bytes for this long is disconnected."""

LINES_PER_S = 20.0
"""Commands beyond this rate are refused: no person presses keys as fast."""

FLOOD_PER_S = 200.0
"""Lines, or KiB without one, at which a viewer is disconnected: no honest viewer sends as much."""


class Viewer:
    """One connection to the feed.

    Parameters
    ----------
    writer
        Stream to the viewer.
    now_s
        Time of the event loop [s].
    longest_bytes
        Longest line that the viewer may send.
    read_only
        Why its commands are refused; None if they are not.
    below
        Transport below the encryption, which may buffer bytes, too.
    """

    def __init__(
        self,
        writer: asyncio.StreamWriter,
        now_s: float,
        longest_bytes: int,
        read_only: Refusal | None = None,
        below: asyncio.WriteTransport | None = None,
    ) -> None:
        self.writer = writer
        self.read_only = read_only
        self._below = below
        self.splitter = LineSplitter(longest_bytes)
        self.commands = TokenBucket(LINES_PER_S, LINES_PER_S)
        self.flood = TokenBucket(FLOOD_PER_S, FLOOD_PER_S)
        self.answered = asyncio.Event()
        """Set while no command awaits its answer."""
        self.answered.set()
        self._accepted_s = now_s
        self._unanswered = 0

    def offer(self, line: bytes, now_s: float) -> bool:
        """Send a line unless one is still unsent; return whether the viewer may stay.

        A viewer that misses a snapshot gets a newer one later, never a queue of old ones.
        """
        transport = self.writer.transport
        if transport.is_closing():
            return False
        if self.unsent_bytes() == 0:
            self.writer.write(line)
            self._accepted_s = now_s
            return True
        return now_s - self._accepted_s < STANDSTILL_S

    def unsent_bytes(self) -> int:
        """Return the number of bytes buffered on this board for the network."""
        buffered = self.writer.transport.get_write_buffer_size()
        return buffered + (self._below.get_write_buffer_size() if self._below else 0)

    def send(self, line: bytes) -> None:
        """Send an answer. Few are buffered: reading of commands pauses until these are sent."""
        if not self.writer.transport.is_closing():
            self.writer.write(line)

    def notify(self, line: bytes) -> None:
        """Send another viewer's command, unless this viewer is not reading."""
        if self.unsent_bytes() <= SEND_BUFFER_BYTES:
            self.send(line)

    def command_received(self) -> None:
        """Count a command that awaits its answer."""
        self._unanswered += 1
        self.answered.clear()

    def command_answered(self) -> None:
        """Count the answer to a command."""
        self._unanswered -= 1
        if not self._unanswered:
            self.answered.set()


def is_loopback(peer: Any) -> bool:
    """Return whether the peer of a connection is a program on this board.

    Parameters
    ----------
    peer
        Address as the socket gives it: (host, port, ...).

    Examples
    --------
    >>> is_loopback(("127.0.0.1", 4000)), is_loopback(("::ffff:127.0.0.1", 4000, 0, 0))
    (True, True)
    >>> is_loopback(("192.0.2.7", 4000)), is_loopback(None)
    (False, False)
    """
    try:
        address = ipaddress.ip_address(peer[0])
    except (TypeError, ValueError, IndexError, KeyError):
        return False
    if isinstance(address, ipaddress.IPv6Address) and address.ipv4_mapped is not None:
        return address.ipv4_mapped.is_loopback
    return address.is_loopback
