"""Reopening a link; a serial device that returns renamed is found by a persistent name."""

from pathlib import Path

from onboard.errors import LinkError
from onboard.telemetry.link.base import Link
from onboard.telemetry.link.opening import open_link

PERSISTENT_NAMES = Path("/dev/serial/by-id")
"""Folder of the names of serial devices that do not depend on the order of plugging in."""


class Reopener:
    """Open one link, as often as it is called.

    Parameters
    ----------
    connection, baud
        See `open_link`.
    names
        The folder of persistent names.
    """

    def __init__(self, connection: str, baud: int, names: Path = PERSISTENT_NAMES) -> None:
        self._connection, self._baud = connection, baud
        self._names = names
        self._persistent: str | None = None

    def __call__(self) -> Link:
        """Open the link, by the given name or by its persistent one.

        Raises
        ------
        UsageError
            If the connection string is unknown.
        LinkError
            If it cannot be opened.
        """
        try:
            link = open_link(self._connection, self._baud)
        except LinkError:
            if self._persistent is None or Path(self._connection).exists():
                raise
            return open_link(self._persistent, self._baud)
        if self._connection.startswith("/"):
            self._persistent = self._persistent_name() or self._persistent
        return link

    def _persistent_name(self) -> str | None:
        """Return the persistent name of the open device, None where it has none."""
        device = Path(self._connection).resolve()
        try:
            names = sorted(self._names.iterdir())
        except OSError:
            return None
        return next((str(name) for name in names if name.resolve() == device), None)
