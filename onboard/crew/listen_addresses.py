"""Where the feed listens: plain on this board, encrypted for everybody else."""

from pathlib import Path
from typing import Final

from onboard.crew.keys import is_paired
from onboard.errors import UsageError
from onboard.feed.server import is_local, parse_listen
from onboard.profile import DEFAULT_CREW_PORT, DEFAULT_FEED_PORT, Feed

OFF: Final = "off"

Place = tuple[str, int]


def listening_places(
    feed: Feed,
    folder: Path,
    listen: str | None = None,
    crew_listen: str | None = None,
    paired: bool | None = None,
) -> tuple[Place, Place | None]:
    """Return where the plain feed listens, and the encrypted one; None where that is off.

    Parameters
    ----------
    feed
        The profile's settings.
    folder
        The pairing's folder.
    listen, crew_listen
        In place of the profile's. An address of `listen` that others reach is encrypted.
    paired
        Whether to take the craft as paired; None looks.

    Raises
    ------
    UsageError
        If an address is none, or would give the feed to everybody.

    Examples
    --------
    >>> listening_places(Feed(), Path("nowhere"))
    (('127.0.0.1', 27220), ('0.0.0.0', 27222))
    >>> listening_places(Feed(), Path("nowhere"), "0.0.0.0:4000")
    Traceback (most recent call last):
    onboard.errors.UsageError: --listen 0.0.0.0:4000: others reach that, and nobody is paired: \
first run wattwake-onboard pair, or listen on 127.0.0.1
    """
    said = listen or feed.listen
    host, port = parse_listen(said)
    if is_local(host):
        crew = crew_listen or feed.crew_listen
        return (host, port), None if crew == OFF else parse_listen(crew, "--crew-listen")
    if not (is_paired(folder) if paired is None else paired):
        raise UsageError(
            f"--listen {said}: others reach that, and nobody is paired: first run "
            "wattwake-onboard pair, or listen on 127.0.0.1"
        )
    if port == DEFAULT_FEED_PORT:
        raise UsageError(
            f"--listen {said}: port {port} stays this board's own: choose another, such as "
            f"{host}:{DEFAULT_CREW_PORT}"
        )
    return ("127.0.0.1", DEFAULT_FEED_PORT), (host, port)
