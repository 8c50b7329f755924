"""The key that browsers are met with, as its file has it now."""

import ssl
from collections.abc import Callable
from pathlib import Path

from onboard.crew.keys import identity_path, server_context
from onboard.errors import UsageError


class Key:
    """The pairing's key, read anew where it was replaced.

    Parameters
    ----------
    folder
        The pairing's folder.
    changed
        Told when another key is used from now on, or none because it is gone or unfit.

    Raises
    ------
    UsageError
        If it cannot be used.
    """

    def __init__(self, folder: Path, changed: Callable[[], None] = lambda: None) -> None:
        self._folder, self._changed = folder, changed
        self._stamp = self._now()
        self._context: ssl.SSLContext | None = server_context(folder)

    def context(self) -> ssl.SSLContext | None:
        """Return the TLS context of a new connection; None without a key: nobody comes in then."""
        stamp = self._now()
        if stamp != self._stamp:
            self._stamp = stamp
            try:
                self._context = server_context(self._folder)
            except UsageError:
                self._context = None
            self._changed()
        return self._context

    def _now(self) -> tuple[int, int, int] | None:
        try:
            there = identity_path(self._folder).stat()
        except OSError:
            return None
        return there.st_ino, there.st_mtime_ns, there.st_size
