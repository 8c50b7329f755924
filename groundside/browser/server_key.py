"""The page's TLS key, read again whenever its file is replaced."""

import ssl
from collections.abc import Callable
from pathlib import Path

from onboard.crew.keys import identity_path, server_context
from onboard.errors import UsageError


class ServerKey:
    """The pairing key, as currently in its file.

    Parameters
    ----------
    folder
        The pairing's folder.
    on_change
        Called when the key in use changes, or is lost because the file is missing or unusable.

    Raises
    ------
    UsageError
        If the key cannot be used.
    """

    def __init__(self, folder: Path, on_change: Callable[[], None] = lambda: None) -> None:
        self._folder, self._on_change = folder, on_change
        self._stamp = self._read_stamp()
        self._context: ssl.SSLContext | None = server_context(folder)

    def context(self) -> ssl.SSLContext | None:
        """Return the TLS context for a new connection; None without a key: refuse it then."""
        stamp = self._read_stamp()
        if stamp != self._stamp:
            self._stamp = stamp
            try:
                self._context = server_context(self._folder)
            except UsageError:
                self._context = None
            self._on_change()
        return self._context

    def _read_stamp(self) -> tuple[int, int, int] | None:
        try:
            status = identity_path(self._folder).stat()
        except OSError:
            return None
        return status.st_ino, status.st_mtime_ns, status.st_size
