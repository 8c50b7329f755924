"""Opens a link again; a serial device that comes back under another name by its lasting one."""

from pathlib import Path

from onboard.errors import LinkError
from onboard.telemetry.link.base import Link
from onboard.telemetry.link.opening import open_link

LASTING_NAMES = Path("/dev/serial/by-id")
"""Where the system keeps a name for each serial device that does not hang on when it was plugged
in."""


class Reopener:
    """Opens one link, as often as it is called.

    Parameters
    ----------
    connection, baud
        See `open_link`.
    names
        The folder of lasting names.
    """

    def __init__(self, connection: str, baud: int, names: Path = LASTING_NAMES) -> None:
        self._connection, self._baud = connection, baud
        self._names = names
        self._lasting: str | None = None

    def __call__(self) -> Link:
        """Open the link, by the name given or by the one that lasts.

        Raises
        ------
        UsageError
            If the connection is none that is known.
        LinkError
            If it cannot be opened.
        """
        try:
            link = open_link(self._connection, self._baud)
        except LinkError:
            if self._lasting is None or Path(self._connection).exists():
                raise
            return open_link(self._lasting, self._baud)
        if self._connection.startswith("/"):
            self._lasting = self._lasting_name() or self._lasting
        return link

    def _lasting_name(self) -> str | None:
        """Return the lasting name of the device that is open, None where it has none."""
        device = Path(self._connection).resolve()
        try:
            names = sorted(self._names.iterdir())
        except OSError:
            return None
        return next((str(name) for name in names if name.resolve() == device), None)
