"""What every link offers.

What may be sent over one is settled in `packing` and `asking`: HEARTBEAT, and requests for
telemetry to the followed autopilot. A link sends what it is given and adds nothing.
"""

from typing import NamedTuple, Protocol

from onboard.errors import LinkError

Source = tuple[str, int]
"""Host and port that a datagram came from."""


def broken(link: str, problem: Exception, cause: str | None = None) -> LinkError:
    """Return the error of a link that broke, by the system's own error.

    Parameters
    ----------
    link
        The link's name.
    problem
        What the system said.
    cause
        The same in words, where the system's are poor.
    """
    return LinkError(f"{link}: {cause or problem}", link, "broke", getattr(problem, "errno", None))


class Part(NamedTuple):
    """Bytes that a link gave, and where they came from: None where there is one other end only."""

    data: bytes
    source: Source | None = None


class Piece(NamedTuple):
    """A part, and when it was received [us since the Unix epoch]."""

    stamp_us: int
    data: bytes
    source: Source | None = None


class Link(Protocol):
    """A source of bytes that is open, and a way back.

    One thread reads and closes; another one may write.
    """

    name: str
    """The link in the words of `--link`, with what was chosen for it filled in."""

    @property
    def unsent_bytes(self) -> int:
        """How many bytes given to `write` were dropped."""

    def read(self, timeout_s: float) -> list[Part]:
        """Return what is there, waiting for the first byte no longer than a time.

        Parameters
        ----------
        timeout_s
            How long to wait [s]; an empty list says that nothing came.

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
            To whom, where that is a choice; None then sends nothing.

        Raises
        ------
        LinkError
            If the link broke.
        """

    def close(self) -> None:
        """Return the device or socket back."""
