"""What every link offers.

What may be sent over one is settled in `packing` and `asking`: HEARTBEAT, and requests for
telemetry to the followed autopilot. A link sends what it is given and adds nothing.
"""

from typing import Protocol


class Link(Protocol):
    """A source of bytes that is open, and a way back.

    One thread reads and closes; another one may write.
    """

    name: str
    """The link in the words of `--link`, with what was chosen for it filled in."""

    @property
    def unsent_bytes(self) -> int:
        """How many bytes given to `write` were dropped."""

    def read(self, timeout_s: float) -> bytes:
        """Give all bytes that are there, waiting for the first no longer than a time.

        Parameters
        ----------
        timeout_s
            How long to wait [s]; b"" says that nothing came.

        Raises
        ------
        LinkError
            If the link broke.
        LinkEndedError
            If it came to its end and cannot give more.
        """

    def write(self, data: bytes) -> None:
        """Send bytes without ever waiting: what cannot go now is dropped and counted.

        Parameters
        ----------
        data
            Whole frames.

        Raises
        ------
        LinkError
            If the link broke.
        """

    def close(self) -> None:
        """Give the device or socket back."""
