"""Run `serve`: serve the page, plain on this machine or encrypted, or invite a browser."""

import argparse
import asyncio
import functools
import json
import sys
from pathlib import Path

from groundside.browser.access import BrowserAccess
from groundside.browser.invite import Invite, warning_lines
from groundside.browser.page_address import PAGE_PORT, page_addresses
from groundside.browser.serve_screen import (
    EVERYBODY,
    ServeScreen,
    print_lines,
    print_local_page,
)
from groundside.browser.server import DashboardServer, serve
from groundside.connection.address import parse_address
from onboard.crew.keys import is_paired, make_identity, own_fingerprint, pairing_folder
from onboard.crew.members import CrewBook, checked_name
from onboard.crew.pinning import door_answers
from onboard.errors import UsageError
from onboard.feed.server import is_local
from onboard.options import record_folder
from onboard.profile import Profile, load_profile


def serve_page(arguments: argparse.Namespace, watch: list[str]) -> int:
    """Serve dashboards until a signal arrives; return the exit code.

    Parameters
    ----------
    arguments
        The command line.
    watch
        Arguments for `watch` on each dashboard's command line.

    Raises
    ------
    WattwakeError
        If the address or the key cannot be used.
    """
    host, port = parse_address(arguments.bind or "127.0.0.1", PAGE_PORT)
    command = [sys.executable, "-m", "groundside", "watch", *watch]
    most = round(arguments.viewers)
    if arguments.json:
        raise UsageError("--json: goes with --invite only")
    if is_local(host):
        if arguments.role != "crew" or arguments.name:
            raise UsageError(
                "--role, --name: are for codes, and a browser on this machine needs none: "
                f"add --bind {EVERYBODY}"
            )
        on_ready = functools.partial(print_local_page, host)
        asyncio.run(serve(DashboardServer(command, most), host, port, on_ready=on_ready))
        return 0
    checked_name(arguments.name)
    folder = _pairing_folder(arguments)
    if not is_paired(folder):
        make_identity(folder)
        print_lines([f"made a key of its own for this machine, in {folder}"])
    screen = ServeScreen(arguments, host, CrewBook(folder))
    access = BrowserAccess(folder, screen.on_login, on_key_change=screen.on_key_change)
    dashboards = DashboardServer(command, most, access)
    asyncio.run(serve(dashboards, host, port, on_ready=screen.on_ready))
    return 0


def invite_browser(arguments: argparse.Namespace) -> int:
    """Create a code for one browser and print its link; return the exit code.

    Raises
    ------
    UsageError
        If no code is needed at that address, or none can be created.
    """
    host, port = parse_address(arguments.bind or EVERYBODY, PAGE_PORT)
    if is_local(host):
        raise UsageError(f"--bind {host}: a browser on this machine needs no code there")
    name = checked_name(arguments.name)
    folder = _pairing_folder(arguments)
    make_identity(folder)
    book = CrewBook(folder)
    pages = page_addresses(host, port, secure=True)
    invite = Invite.create(book, pages, arguments.role, name)
    if arguments.json:
        print(json.dumps(invite.as_dict(own_fingerprint(folder)), indent=2))
        return 0
    print_lines([*invite.lines(), "", *warning_lines(book)])
    if not door_answers((host, port), own_fingerprint(folder)):
        hint = f"`serve` does not answer on port {port} yet: start it with --bind {host}"
        print_lines(["", hint])
    return 0


def _pairing_folder(arguments: argparse.Namespace) -> Path:
    """Return the pairing folder: the daemon's on a board, this machine's own elsewhere."""
    profile = load_profile(arguments.profile) if arguments.profile else Profile()
    return pairing_folder(record_folder(arguments.record, profile))
