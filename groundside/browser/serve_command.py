"""The `serve` command: says where the page is, and serves it until it is told to stop."""

import argparse
import asyncio
import functools
import json
import shlex
import sys
from collections.abc import Callable
from pathlib import Path

from groundside.browser.address import PAGE_PORT, page_addresses
from groundside.browser.enter_key import EnterKey
from groundside.browser.entry import Entry
from groundside.browser.invites import Invite, tell, tell_invite, warning_lines
from groundside.browser.server import Dashboards, serve
from groundside.connection.address import parse_address, shown
from onboard.crew.keys import is_paired, make_identity, own_fingerprint, pairing_folder
from onboard.crew.members import NAME_MOST, CrewBook, Member, good_name
from onboard.crew.pinning import door_answers
from onboard.crew.qr_code import qr_code
from onboard.errors import UsageError
from onboard.feed.server import is_local
from onboard.options import record_folder
from onboard.profile import Profile, load_profile

EVERYBODY = "0.0.0.0"  # nosec B104
"""Encrypted there, and for those with a code."""


def run_invite(arguments: argparse.Namespace) -> int:
    """Make a code for one browser and print its link; return the exit code.

    Raises
    ------
    UsageError
        If nobody needs a code there, or none can be made.
    """
    host, port = parse_address(arguments.bind or EVERYBODY, PAGE_PORT)
    if is_local(host):
        raise UsageError(f"--bind {host}: a browser on this machine needs no code there")
    _check_name(arguments.name)
    folder = _folder(arguments)
    make_identity(folder)
    book = CrewBook(folder)
    invite = Invite.made(
        book, page_addresses(host, port, secure=True), arguments.role, arguments.name or ""
    )
    if arguments.json:
        print(json.dumps(invite.as_dict(own_fingerprint(folder)), indent=2))
        return 0
    tell([*invite.lines(), "", *warning_lines(book)])
    if not door_answers((host, port), own_fingerprint(folder)):
        tell(["", f"`serve` does not answer on port {port} yet: start it with --bind {host}"])
    return 0


def run_serve(arguments: argparse.Namespace, watch: list[str]) -> int:
    """Serve dashboards until a signal comes.

    Parameters
    ----------
    arguments
        The command line.
    watch
        What stands behind `watch` on a dashboard's command line.

    Returns
    -------
    int
        The exit code.

    Raises
    ------
    WattwakeError
        If the address cannot be had, or the key not be used.
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
        asyncio.run(serve(Dashboards(command, most), host, port, ready=_tell_local(host)))
        return 0
    _check_name(arguments.name)
    folder = _folder(arguments)
    if not is_paired(folder):
        make_identity(folder)
        tell([f"made a key of its own for this machine, in {folder}"])
    screen = _Screen(arguments, host, CrewBook(folder))
    dashboards = Dashboards(
        command, most, Entry(folder, screen.came, key_changed=screen.key_changed)
    )
    asyncio.run(serve(dashboards, host, port, ready=screen.ready))
    return 0


def _folder(arguments: argparse.Namespace) -> Path:
    """Return the pairing's folder: the daemon's on a board, this machine's own elsewhere."""
    profile = load_profile(arguments.profile) if arguments.profile else Profile()
    return pairing_folder(record_folder(arguments.record, profile))


def _check_name(name: str | None) -> None:
    if name and not good_name(name):
        raise UsageError(
            f"--name {name!r}: expected 1 to {NAME_MOST} printable characters, no space at the ends"
        )


class _Screen:
    """What is said where `serve` was started. A code is shown on a terminal only, never in a log.

    Parameters
    ----------
    arguments
        The command line.
    host
        What is listened on.
    book
        The crew's file.
    """

    def __init__(self, arguments: argparse.Namespace, host: str, book: CrewBook) -> None:
        self._arguments, self._host, self._book = arguments, host, book
        self._is_terminal = sys.stdin.isatty() and sys.stdout.isatty()

    def ready(self, port: int) -> None:
        pages = page_addresses(self._host, port, secure=True)
        tell(
            [
                "the dashboard is at " + "  or  ".join(pages),
                "encrypted: a browser comes in with a code, once, and is then remembered",
                "",
                *warning_lines(self._book),
            ]
        )
        if not self._is_terminal:
            tell(["", f"to let a browser in: {self._invite_command(port)}"])
            return
        role, name = self._arguments.role, self._arguments.name or ""
        show = functools.partial(
            tell_invite, functools.partial(Invite.made, self._book, pages, role, name)
        )
        show()
        EnterKey(show).wait_for()

    def _invite_command(self, port: int) -> str:
        words = ["wattwake-groundside", "serve", "--invite"]
        if (self._host, port) != (EVERYBODY, PAGE_PORT):
            words += ["--bind", shown(self._host, port)]
        for option in ("profile", "record"):
            if value := getattr(self._arguments, option):
                words += [f"--{option}", str(value)]
        return shlex.join(words)

    def key_changed(self) -> None:
        try:
            tell(["", "the key was made anew.", *warning_lines(self._book)])
        except UsageError as problem:
            print(f"wattwake-groundside: {problem}", file=sys.stderr, flush=True)

    def came(self, member: Member) -> None:
        tell(
            [
                f"{member.name} is let in as {member.role}"
                + ("; Enter shows a code for another browser" if self._is_terminal else "")
            ]
        )


def _tell_local(host: str) -> Callable[[int], None]:
    def say(port: int) -> None:
        addresses = page_addresses(host, port)
        tell(
            [
                "the dashboard is at " + "  or  ".join(addresses),
                f"on this machine only; --bind {EVERYBODY} lets browsers in from elsewhere, "
                "with a code",
            ]
        )
        if sys.stdout.isatty():
            print(qr_code(addresses[0]), flush=True)

    return say
