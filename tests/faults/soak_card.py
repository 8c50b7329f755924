"""The soak's card: a small separate file system that can be filled, if one can be mounted."""

import os
import subprocess
import time
from pathlib import Path

SIZE = "size=512m"


class Card:
    """A folder for the records.

    Parameters
    ----------
    place
        Where to create it. Without permission to mount, it is a plain folder and `can_fill` false.
    """

    def __init__(self, place: Path) -> None:
        place.mkdir(mode=0o700)
        self.place = place
        self.full_s: float | None = None
        """Since when it has been full."""
        self.room_s = 0.0
        """Since when there has been room again."""
        self.can_fill = self._mount(f"{SIZE},mode=0700") is None

    def _mount(self, options: str) -> str | None:
        try:
            done = subprocess.run(
                ["mount", "-t", "tmpfs", "-o", options, "tmpfs", str(self.place)],
                capture_output=True,
                text=True,
                check=False,
            )
        except FileNotFoundError:
            return "there is no mount command"
        return done.stderr.strip() or None if done.returncode else None

    def fill(self) -> None:
        """Leave no room: shrink the card to its contents."""
        stat = os.statvfs(self.place)
        used = (stat.f_blocks - stat.f_bfree) * stat.f_frsize
        self.full_s = time.monotonic()
        self._mount(f"remount,size={max(used, 4096)}")

    def make_room(self) -> None:
        if self.full_s is not None:
            self._mount(f"remount,{SIZE}")
            self.full_s, self.room_s = None, time.monotonic()

    def remove(self) -> None:
        if self.can_fill:
            subprocess.run(["umount", "-l", str(self.place)], check=False)
