"""The interface of every link, and the base of links over a device or socket.

`mavlink.packing` and `requests` determine what may be sent: HEARTBEAT, and requests for telemetry
to the followed autopilot. A link sends the given bytes and adds nothing.
"""

from collections.abc import Callable
from typing import NamedTuple, Protocol

from onboard.errors import LinkError
from onboard.telemetry.link.outlet import Outlet

Source = tuple[str, int]
"""Host and port that a datagram came from."""


class Part(NamedTuple):
    """Bytes received from a link, and their source: None on a point-to-point link."""

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
    """The link in the syntax of `--link`, completed by the system's choices."""

    @property
    def unsent_bytes(self) -> int:
        """Bytes given to `write` that were dropped."""

    def read(self, timeout_s: float) -> list[Part]:
        """Return the bytes available, waiting for the first one up to a timeout.

        Parameters
        ----------
        timeout_s
            Longest wait [s]; an empty list means that nothing arrived.

        Raises
        ------
        LinkError
            If the link broke.
        LinkEndedError
            If it has ended and can deliver no more.
        """

    def write(self, data: bytes, to: Source | None = None, /) -> None:
        """Send bytes without ever waiting: bytes that cannot be sent now are dropped and counted.

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
    """Exceptions of a broken device or socket."""

    def __init__(self, name: str, send: Callable[[bytes], int], close: Callable[[], None]) -> None:
        self.name = name
        self._outlet = Outlet(send, close)

    def receive(self, timeout_s: float) -> list[Part]:
        """Return the bytes available; may raise `faults`."""
        raise NotImplementedError

    def cause(self, problem: Exception) -> str:
        """Return the system's error in words."""
        return str(problem)

    def read(self, timeout_s: float) -> list[Part]:
        """Return the bytes available; see `Link.read`."""
        try:
            return self.receive(timeout_s)
        except BlockingIOError:
            return []
        except self.faults as problem:
            raise self._broken(problem) from None

    @property
    def unsent_bytes(self) -> int:
        """Bytes dropped because the other side reads none, or too slowly."""
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
