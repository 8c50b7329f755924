"""Which craft a saved log is of."""

from pathlib import Path

from onboard.profile import Profile, load_profile


def profile_for(given: Path | None, log: Path) -> Profile:
    """Give the profile that was named, else the one kept beside the record, else the defaults.

    Raises
    ------
    ProfileError
        If it cannot be read.
    """
    kept = (log if log.is_dir() else log.parent) / "profile.toml"
    if given is not None or kept.is_file():
        return load_profile(given or kept)
    return Profile()
