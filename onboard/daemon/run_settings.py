"""Settings of a run: the command line merged with the profile."""

import argparse
from pathlib import Path
from typing import Any

from onboard.crew.door import DoorSettings
from onboard.crew.keys import pairing_folder
from onboard.crew.listen_addresses import listen_addresses
from onboard.dataclass import dataclass
from onboard.efficiency.advice.target import Aim
from onboard.options import record_folder
from onboard.profile import Profile, read_profile


@dataclass(frozen=True)
class Settings:
    """Settings of a run of the daemon, or of a check."""

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
    pairing: Path | None = None
    """Folder of the pairing."""


def merged(arguments: argparse.Namespace, **more: Any) -> Settings:
    """Return the settings from options, else from the profile; a file is recorded only on demand.

    Parameters
    ----------
    arguments
        Values of `add_link_options` and of `--record`.
    **more
        Further settings.

    Raises
    ------
    WattwakeError
        If the profile cannot be used, or an address would expose the plain feed to others.
    """
    profile, text = Profile(), None
    if arguments.profile:
        profile, text = read_profile(arguments.profile)
    connection = arguments.link or profile.link.connection
    folder = record_folder(arguments.record, profile)
    pairing = pairing_folder(folder)
    listen, crew = listen_addresses(profile.feed, pairing, arguments.listen, arguments.crew_listen)
    return Settings(
        profile=profile,
        connection=connection,
        baud=arguments.baud or profile.link.baud,
        system_id=arguments.system_id,
        listen=listen,
        record=None if connection.startswith("file:") and not arguments.record else folder,
        profile_text=text,
        profile_path=arguments.profile,
        door=crew and DoorSettings(*crew, pairing, profile.craft.name, profile.feed.viewers_most),
        pairing=pairing,
        **more,
    )
