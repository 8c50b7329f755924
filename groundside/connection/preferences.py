"""Preferences kept between runs of the viewer: units, theme, sounds, when the caution was read.

A convenience only: nothing else depends on whether the file can be read or written.
"""

import contextlib
import json
import os
from pathlib import Path

from onboard.files.private_folder import make_own_folder
from onboard.files.whole_file import write_whole

MOST_BYTES = 4096


def preferences_path() -> Path:
    """Return the path of the preferences file (XDG Base Directory Specification)."""
    base = os.environ.get("XDG_CONFIG_HOME") or ""
    # The specification requires relative paths to be ignored.
    folder = Path(base) if Path(base).is_absolute() else Path.home() / ".config"
    return folder / "wattwake" / "viewer.json"


class Preferences:
    """Strings by name, such as `units` and `theme`.

    Parameters
    ----------
    path
        The file; None stores them for this run only.
    """

    def __init__(self, path: Path | None) -> None:
        self._path = path
        self._values: dict[str, str] = {}
        with contextlib.suppress(OSError, ValueError, RecursionError):
            if path is not None and path.stat().st_size <= MOST_BYTES:
                raw = json.loads(path.read_text(encoding="utf-8"))
                if isinstance(raw, dict):
                    self._values = {k: v for k, v in raw.items() if isinstance(v, str)}

    def get(self, name: str) -> str | None:
        """Return a stored value, or None."""
        return self._values.get(name)

    def put(self, name: str, value: str) -> None:
        """Store a value from now on."""
        if self._values.get(name) == value:
            return
        self._values[name] = value
        if self._path is None:
            return
        with contextlib.suppress(OSError):
            make_own_folder(self._path.parent)
            write_whole(self._path, json.dumps(self._values, indent=1) + "\n")
