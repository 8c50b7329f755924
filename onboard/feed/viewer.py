"""One connected viewer: what it is sent and what it may say, both within bounds."""

import asyncio
import ipaddress
from typing import Any

from onboard.contract.refusals import Refusal
from onboard.feed.lines import LineSplitter

SEND_BUFFER_BYTES = 16 * 1024
"""Kept small, so that a viewer that stopped reading is noticed within seconds, not minutes."""

STANDSTILL_S = 10.0
"""A viewer that takes nothing for this long is put out."""

LINES_PER_S = 20.0
"""More commands than this are refused: nobody presses keys as fast."""

FLOOD_PER_S = 200.0
"""Lines, or KiB without one, at which a viewer is put out: nothing that means well sends as much.
"""


class Bucket:
    """Lets things through at a rate, with a second's worth at once.

    Parameters
    ----------
    per_s
        The rate [1/s].

    Examples
    --------
    >>> bucket = Bucket(2.0)
    >>> [bucket.take(0.0), bucket.take(0.0), bucket.take(0.0), bucket.take(0.6)]
    [True, True, False, True]
    """

    def __init__(self, per_s: float) -> None:
        self._per_s = self._left = per_s
        self._at_s: float | None = None

    def take(self, now_s: float, cost: float = 1.0) -> bool:
        """Return whether there is room for something now; it is then taken."""
        gone_s = 0.0 if self._at_s is None else max(now_s - self._at_s, 0.0)
        self._at_s = now_s
        self._left = min(self._left + gone_s * self._per_s, self._per_s)
        if self._left < cost:
            return False
        self._left -= cost
        return True


class Viewer:
    """A connection.

    Parameters
    ----------
    writer
        To the viewer.
    now_s
        The loop's clock [s].
    longest_bytes
        Of a line that it may say.
    may_not
        Why it may say nothing; None if it may.
    below
        What an encrypted connection writes to: there bytes may wait, too.
    """

    def __init__(
        self,
        writer: asyncio.StreamWriter,
        now_s: float,
        longest_bytes: int,
        may_not: Refusal | None = None,
        below: asyncio.WriteTransport | None = None,
    ) -> None:
        self.writer = writer
        self.may_not = may_not
        self._below = below
        self.splitter = LineSplitter(longest_bytes)
        self.lines, self.flood = Bucket(LINES_PER_S), Bucket(FLOOD_PER_S)
        self.answered = asyncio.Event()
        """Whether nothing that it said waits for its answer."""
        self.answered.set()
        self._taking_since_s = now_s
        self._waiting = 0

    def offer(self, line: bytes, now_s: float) -> bool:
        """Send a line unless one waits unsent; tell whether the viewer may stay.

        A viewer that is left out gets a newer snapshot later, never a queue of old ones.
        """
        transport = self.writer.transport
        if transport.is_closing():
            return False
        if self.unsent_bytes() == 0:
            self.writer.write(line)
            self._taking_since_s = now_s
            return True
        return now_s - self._taking_since_s < STANDSTILL_S

    def unsent_bytes(self) -> int:
        """Return how much waits on this board for the network to take it."""
        waits = self.writer.transport.get_write_buffer_size()
        return waits + (self._below.get_write_buffer_size() if self._below else 0)

    def tell(self, line: bytes) -> None:
        """Send an answer. They are few: it is not heard on while it does not read them."""
        if not self.writer.transport.is_closing():
            self.writer.write(line)

    def tell_news(self, line: bytes) -> None:
        """Send what another viewer did; to one that reads nothing it is left out."""
        if self.unsent_bytes() <= SEND_BUFFER_BYTES:
            self.tell(line)

    def ask(self) -> None:
        """Count a command that waits for its answer."""
        self._waiting += 1
        self.answered.clear()

    def answer(self) -> None:
        """Count its answer."""
        self._waiting -= 1
        if not self._waiting:
            self.answered.set()


def is_loopback(peer: Any) -> bool:
    """Return whether the other end of a connection is a program on this board.

    Parameters
    ----------
    peer
        What the socket says of it: (host, port, ...).

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
