"""What every link offers, and what links over a device or socket have in common.

What may be sent over one is settled in `mavlink.packing` and `requests`: HEARTBEAT, and requests
for telemetry to the followed autopilot. A link sends the bytes it is given and adds nothing.
"""

from collections.abc import Callable
from typing import NamedTuple, Protocol

from onboard.errors import LinkError
from onboard.telemetry.link.outlet import Outlet

Source = tuple[str, int]
"""Host and port that a datagram came from."""


class Part(NamedTuple):
    """Bytes that a link gave, and their source: None where there is only one other end."""

    data: bytes
    source: Source | None = None


class Piece(NamedTuple):
    """A part and its time of receipt [us since the Unix epoch]."""

    stamp_us: int
    data: bytes
    source: Source | None = None


class Link(Protocol):
    """An open source of bytes with a way back.

    One thread reads and closes; another one may write.
    """

    name: str
    """The link in the syntax of `--link`, with what the system chose for it filled in."""

    @property
    def unsent_bytes(self) -> int:
        """Bytes given to `write` that were dropped."""

    def read(self, timeout_s: float) -> list[Part]:
        """Return the bytes that are there, waiting for the first one up to a timeout.

        Parameters
        ----------
        timeout_s
            Longest wait [s]; an empty list means that nothing came.

        Raises
        ------
        LinkError
            If the link broke.
        LinkEndedError
            If it came to its end and cannot give more.
        """

    def write(self, data: bytes, to: Source | None = None, /) -> None:
        """Send bytes without ever waiting: what cannot go now is dropped and counted.

        Parameters
        ----------
        data
            Whole frames.
        to
            Destination, where a link has several; None then sends nothing.

        Raises
        ------
        LinkError
            If the link broke.
        """

    def close(self) -> None:
        """Release the device or socket."""


def not_opened(link: str, text: str, code: str, problem: Exception) -> LinkError:
    """Return the error of a link that cannot be opened.

    Parameters
    ----------
    link
        Its name.
    text
        What cannot be done.
    code
        The same as a code of `errors.LINK_PROBLEMS`.
    problem
        The system's error.
    """
    cause = (getattr(problem, "strerror", None) or str(problem)).lower()
    number = getattr(problem, "errno", None)
    return LinkError(f"{link}: {text} ({cause})", link, code, number)


class DescriptorLink:
    """A link over a device or socket: a subclass opens it and implements `receive`.

    Parameters
    ----------
    name
        See `Link.name`.
    send, close
        See `Outlet`.
    """

    faults: tuple[type[Exception], ...] = (OSError, ValueError)
    """Exceptions of a device or socket that broke."""

    def __init__(self, name: str, send: Callable[[bytes], int], close: Callable[[], None]) -> None:
        self.name = name
        self._outlet = Outlet(send, close)

    def receive(self, timeout_s: float) -> list[Part]:
        """Return the bytes that are there; may raise `faults`."""
        raise NotImplementedError

    def cause(self, problem: Exception) -> str:
        """Return the system's error in words."""
        return str(problem)

    def read(self, timeout_s: float) -> list[Part]:
        """Return the bytes that are there; see `Link.read`."""
        try:
            return self.receive(timeout_s)
        except BlockingIOError:
            return []
        except self.faults as problem:
            raise self._broken(problem) from None

    @property
    def unsent_bytes(self) -> int:
        """Bytes that were dropped: the other side takes none, or takes them too slowly."""
        return self._outlet.unsent_bytes

    def write(self, data: bytes, _to: Source | None = None, /) -> None:
        """Send bytes; see `Link.write`."""
        try:
            self._outlet.write(data)
        except self.faults as problem:
            raise self._broken(problem) from None

    def close(self) -> None:
        """Release the device or socket."""
        self._outlet.close()

    def _broken(self, problem: Exception) -> LinkError:
        text = f"{self.name}: {self.cause(problem)}"
        return LinkError(text, self.name, "broke", getattr(problem, "errno", None))
