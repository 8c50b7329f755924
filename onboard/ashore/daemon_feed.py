"""Read snapshots from a daemon on this board, if it occupies the link itself."""

import contextlib
import socket
from collections.abc import Callable
from types import TracebackType
from typing import Self

from onboard.ashore.facts import FeedFacts, Port
from onboard.contract.messages import Hello, Message
from onboard.contract.snapshot import Snapshot
from onboard.crew.addresses import reached_here_at
from onboard.errors import cause_of
from onboard.feed.lines import LineSplitter, decoded

CONNECT_S, HELLO_S = 1.0, 2.0
READ_BYTES = 65_536


class DaemonFeed:
    """A connection to a daemon's feed.

    Parameters
    ----------
    host, port
        Address that it listens on.
    clock_s
        Monotonic clock [s].

    Raises
    ------
    OSError
        If there is no listener.
    """

    def __init__(self, host: str, port: int, clock_s: Callable[[], float]) -> None:
        self._clock_s = clock_s
        self._socket = socket.create_connection((host, port), CONNECT_S)
        self.lines = LineSplitter()
        self._early = self._messages(HELLO_S, 1)
        first = self._early[0] if self._early else None
        self.hello = first if isinstance(first, Hello) else None
        """First message; None if the peer is not a daemon."""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._socket.close()

    def snapshots(self, seconds_s: float, most: int | None = None) -> list[Snapshot]:
        """Return the snapshots of this many seconds, or only the first `most`."""
        early, self._early = self._early, []
        messages = [*early, *self._messages(seconds_s, most)]
        return [message for message in messages if isinstance(message, Snapshot)]

    def _messages(self, seconds_s: float, most: int | None) -> list[Message]:
        deadline_s = self._clock_s() + seconds_s
        messages: list[Message] = []
        while (left_s := deadline_s - self._clock_s()) > 0:
            if most is not None and len(messages) >= most:
                break
            self._socket.settimeout(left_s)
            data = b""
            with contextlib.suppress(OSError):
                data = self._socket.recv(READ_BYTES)
            if not data:
                break
            found = map(decoded, self.lines.feed(data))
            messages += [message for message in found if message is not None]
        return messages


def probe(host: str, port: int, clock_s: Callable[[], float]) -> FeedFacts:
    """Find out what uses the feed's port."""
    if port == 0:
        return FeedFacts(host, port)
    with contextlib.suppress(OSError), DaemonFeed(reached_here_at(host), port, clock_s) as feed:
        if feed.hello is None:
            return FeedFacts(host, port, Port.OTHER)
        return FeedFacts(host, port, Port.OURS, feed.hello.craft)
    try:
        kind, _, _, _, address = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
        with socket.socket(kind, socket.SOCK_STREAM) as listener:
            # As the daemon does: a port just released by a daemon is free.
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            listener.bind(address)
    except (OSError, UnicodeError, OverflowError) as problem:
        return FeedFacts(host, port, Port.REFUSED, problem=cause_of(problem))
    return FeedFacts(host, port)
