"""What a run of the daemon is given: profile and command line, already merged."""

from dataclasses import dataclass
from pathlib import Path

from onboard.crew.door import DoorSettings
from onboard.efficiency.advice.target import Aim
from onboard.profile import Profile


@dataclass(frozen=True)
class Settings:
    """What a run of the daemon needs to know."""

    profile: Profile
    connection: str
    baud: int
    system_id: int | None
    listen: tuple[str, int]
    record: Path | None
    profile_text: str | None = None
    aim: Aim | None = None
    profile_path: Path | None = None
    """Read anew on SIGHUP."""
    listen_only: bool = False
    door: DoorSettings | None = None
    """Where paired viewers come in; None where they cannot."""
