"""What every link offers."""

from typing import Protocol


class Link(Protocol):
    """A source of bytes that is open. Sends nothing."""

    name: str
    """The link in the words of `--link`, with what was chosen for it filled in."""

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

    def close(self) -> None:
        """Give the device or socket back."""
