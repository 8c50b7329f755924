"""Addresses to listen on: plain on loopback, encrypted for other machines."""

from pathlib import Path
from typing import Final

from onboard.crew.keys import is_paired
from onboard.errors import UsageError
from onboard.feed.server import is_local, parse_listen
from onboard.profile import DEFAULT_CREW_PORT, DEFAULT_FEED_PORT, FeedSettings

OFF: Final = "off"

Address = tuple[str, int]
"""Host and port."""


def listen_addresses(
    feed: FeedSettings,
    folder: Path,
    listen: str | None = None,
    crew_listen: str | None = None,
    paired: bool | None = None,
) -> tuple[Address, Address | None]:
    """Return the addresses of the plain feed and of the encrypted one; None if that is off.

    Parameters
    ----------
    feed
        The profile's settings.
    folder
        The pairing's folder.
    listen, crew_listen
        Override the profile's. A `listen` that others reach becomes the encrypted one.
    paired
        Whether the craft counts as paired; None checks.

    Raises
    ------
    UsageError
        If an address is malformed, or would open the plain feed to everybody.

    Examples
    --------
    >>> listen_addresses(FeedSettings(), Path("nowhere"))
    (('127.0.0.1', 27220), ('0.0.0.0', 27222))
    >>> listen_addresses(FeedSettings(), Path("nowhere"), "0.0.0.0:4000")
    Traceback (most recent call last):
    onboard.errors.UsageError: --listen 0.0.0.0:4000: others reach that, and nobody is paired: \
first run wattwake-onboard pair, or listen on 127.0.0.1
    """
    wanted = listen or feed.listen
    host, port = parse_listen(wanted)
    if is_local(host):
        crew = crew_listen or feed.crew_listen
        return (host, port), None if crew == OFF else parse_listen(crew, "--crew-listen")
    if not (is_paired(folder) if paired is None else paired):
        raise UsageError(
            f"--listen {wanted}: others reach that, and nobody is paired: first run "
            "wattwake-onboard pair, or listen on 127.0.0.1"
        )
    if port == DEFAULT_FEED_PORT:
        raise UsageError(
            f"--listen {wanted}: port {port} stays this board's own: choose another, such as "
            f"{host}:{DEFAULT_CREW_PORT}"
        )
    return ("127.0.0.1", DEFAULT_FEED_PORT), (host, port)
