"""Settings of a run: profile and command line merged."""

from dataclasses import dataclass
from pathlib import Path

from onboard.crew.door import DoorSettings
from onboard.efficiency.advice.target import Aim
from onboard.profile import Profile


@dataclass(frozen=True)
class Settings:
    """Settings of a run of the daemon."""

    profile: Profile
    connection: str
    baud: int
    system_id: int | None
    listen: tuple[str, int]
    record: Path | None
    profile_text: str | None = None
    aim: Aim | None = None
    profile_path: Path | None = None
    """Reloaded on SIGHUP."""
    listen_only: bool = False
    door: DoorSettings | None = None
    """The encrypted door; None if it is off."""
