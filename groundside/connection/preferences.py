"""What a viewer remembers from one time to the next: the rider's units and theme.

It is a comfort and no more: a file that cannot be read or written changes nothing else.
"""

import contextlib
import json
import os
from pathlib import Path

from onboard.files.private_folder import make_own_folder
from onboard.files.whole_file import write_whole

MOST_BYTES = 4096


def preferences_path() -> Path:
    """Return where they are kept (XDG Base Directory Specification)."""
    base = os.environ.get("XDG_CONFIG_HOME") or ""
    # The specification has relative paths ignored.
    folder = Path(base) if Path(base).is_absolute() else Path.home() / ".config"
    return folder / "wattwake" / "viewer.json"


class Preferences:
    """Texts by name, such as `units` and `theme`.

    Parameters
    ----------
    path
        Where they are kept; None keeps them for this run only.
    """

    def __init__(self, path: Path | None) -> None:
        self._path = path
        self._kept: dict[str, str] = {}
        with contextlib.suppress(OSError, ValueError, RecursionError):
            if path is not None and path.stat().st_size <= MOST_BYTES:
                raw = json.loads(path.read_text(encoding="utf-8"))
                if isinstance(raw, dict):
                    self._kept = {k: v for k, v in raw.items() if isinstance(v, str)}

    def get(self, name: str) -> str | None:
        """Return what is remembered, None without."""
        return self._kept.get(name)

    def put(self, name: str, value: str) -> None:
        """Remember a text from now on."""
        if self._kept.get(name) == value:
            return
        self._kept[name] = value
        if self._path is None:
            return
        with contextlib.suppress(OSError):
            make_own_folder(self._path.parent)
            write_whole(self._path, json.dumps(self._kept, indent=1) + "\n")
