"""Asks a daemon that runs on this board for its snapshots, where it holds the link itself."""

import contextlib
import socket
from collections.abc import Callable
from dataclasses import dataclass
from types import TracebackType
from typing import Self

from onboard.ashore.facts import FeedFacts, Port
from onboard.contract.codec import ContractError, from_line
from onboard.contract.messages import Hello, Message
from onboard.contract.snapshot import Snapshot
from onboard.crew.addresses import reached_here_at

CONNECT_S, HELLO_S = 1.0, 2.0
LINE_MOST_BYTES = 1 << 20
READ_BYTES = 65_536


@dataclass(frozen=True)
class _Lines:
    """What is left of a stream cut into lines, and the messages in those that hold one."""

    rest: bytes
    messages: list[Message]


class DaemonFeed:
    """A connection to a daemon's feed.

    Parameters
    ----------
    host, port
        Where it listens.
    clock_s
        A monotonic clock [s].

    Raises
    ------
    OSError
        If nobody listens there.
    """

    def __init__(self, host: str, port: int, clock_s: Callable[[], float]) -> None:
        self._clock_s = clock_s
        self._socket = socket.create_connection((host, port), CONNECT_S)
        self._rest = b""
        self._early: list[Message] = []
        self.craft: str | None = None
        self.ours = self._says_hello()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._socket.close()

    def _says_hello(self) -> bool:
        messages = self._until(self._clock_s() + HELLO_S, 1)
        hello = messages[0] if messages else None
        if not isinstance(hello, Hello):
            return False
        self.craft = hello.craft
        self._early = messages[1:]
        return True

    def snapshots(self, seconds_s: float, most: int | None = None) -> list[Snapshot]:
        """Return the snapshots that come within some seconds, or the first few."""
        early, self._early = self._early, []
        messages = [*early, *self._until(self._clock_s() + seconds_s, most)]
        return [one for one in messages if isinstance(one, Snapshot)]

    def _until(self, deadline_s: float, most: int | None) -> list[Message]:
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
            lines = _cut(self._rest + data)
            self._rest = lines.rest
            messages += lines.messages
        return messages


def _cut(data: bytes) -> _Lines:
    *whole, rest = data.split(b"\n")
    messages: list[Message] = []
    for line in whole:
        with contextlib.suppress(ContractError):
            if (message := from_line(line)) is not None:
                messages.append(message)
    return _Lines(b"" if len(rest) > LINE_MOST_BYTES else rest, messages)


def probe(host: str, port: int, clock_s: Callable[[], float]) -> FeedFacts:
    """Find out who has the feed's port."""
    if port == 0:
        return FeedFacts(host, port)
    with contextlib.suppress(OSError), DaemonFeed(reached_here_at(host), port, clock_s) as feed:
        held_by = Port.OURS if feed.ours else Port.OTHER
        return FeedFacts(host, port, held_by, feed.craft)
    try:
        kind, _, _, _, address = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
        with socket.socket(kind, socket.SOCK_STREAM) as inlet:
            # As the daemon does: a port that a daemon has just left is free.
            inlet.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            inlet.bind(address)
    except (OSError, UnicodeError, OverflowError) as problem:
        cause = (getattr(problem, "strerror", None) or str(problem)).lower()
        return FeedFacts(host, port, Port.REFUSED, problem=cause)
    return FeedFacts(host, port)
