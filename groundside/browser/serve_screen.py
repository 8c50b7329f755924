"""The terminal on which `serve` was started: what it prints there, and its Enter key."""

import argparse
import asyncio
import contextlib
import os
import shlex
import sys
from collections.abc import Callable, Iterator
from typing import Final

from groundside.browser.invite import Invite, warning_lines
from groundside.browser.page_address import PAGE_PORT, page_addresses
from groundside.connection.address import format_address
from onboard.crew.members import CrewBook, Member
from onboard.errors import UsageError

EVERYBODY: Final = "0.0.0.0"  # nosec B104
"""All interfaces; the page is then encrypted, and open only to those with a code."""

FOREGROUND_CHECK_S: Final = 1.0
"""Interval between checks of whether this process is in the foreground again [s]."""


def print_lines(lines: list[str]) -> None:
    """Print lines and flush."""
    print(*lines, sep="\n", flush=True)


def print_local_page(host: str, port: int) -> None:
    """Print the address of a page that only this machine can open."""
    addresses = page_addresses(host, port)
    print_lines(
        [
            "the dashboard is at " + "  or  ".join(addresses),
            f"on this machine only; for a phone, start it with --bind {EVERYBODY}, which shows "
            "a code to scan",
        ]
    )


class ServeScreen:
    """The terminal output for a page with codes; a code is shown on a terminal, never in a log.

    Parameters
    ----------
    arguments
        The command line.
    host
        The address listened on.
    book
        The crew's file.
    """

    def __init__(self, arguments: argparse.Namespace, host: str, book: CrewBook) -> None:
        self._arguments, self._host, self._book = arguments, host, book
        self._is_terminal = sys.stdin.isatty() and sys.stdout.isatty()

    def on_ready(self, port: int) -> None:
        """Print the page's address and, on a terminal, a code; Enter prints another."""
        pages = page_addresses(self._host, port, secure=True)
        print_lines(
            [
                "the dashboard is at " + "  or  ".join(pages),
                "encrypted: a browser comes in with a code, once, and is then remembered",
                "",
                *warning_lines(self._book),
            ]
        )
        if not self._is_terminal:
            print_lines(["", f"to let a browser in: {self._invite_command(port)}"])
            return
        self._print_invite(pages)
        call_on_enter(lambda: self._print_invite(pages))

    def on_key_change(self) -> None:
        """Print the new key's fingerprint."""
        with _errors_printed():
            print_lines(["", "the key was made anew.", *warning_lines(self._book)])

    def on_login(self, member: Member) -> None:
        """Print who has logged in."""
        hint = "; Enter shows a code for another browser" if self._is_terminal else ""
        print_lines([f"{member.name} is let in as {member.role}{hint}"])

    def _print_invite(self, pages: tuple[str, ...]) -> None:
        role, name = self._arguments.role, self._arguments.name or ""
        with _errors_printed():
            invite = Invite.create(self._book, pages, role, name)
            print_lines(["", *invite.lines(), "Enter shows another."])

    def _invite_command(self, port: int) -> str:
        words = ["wattwake-groundside", "serve", "--invite"]
        if (self._host, port) != (EVERYBODY, PAGE_PORT):
            words += ["--bind", format_address(self._host, port)]
        for option in ("profile", "record"):
            if value := getattr(self._arguments, option):
                words += [f"--{option}", str(value)]
        return shlex.join(words)


@contextlib.contextmanager
def _errors_printed() -> Iterator[None]:
    """Print errors instead of letting them end the server."""
    try:
        yield
    except UsageError as problem:
        print(f"wattwake-groundside: {problem}", file=sys.stderr, flush=True)


def call_on_enter(action: Callable[[], None]) -> None:
    """Call an action whenever Enter is pressed, while the event loop runs."""
    with contextlib.suppress(OSError, ValueError, NotImplementedError):
        asyncio.get_running_loop().add_reader(sys.stdin.fileno(), _read_enter, action)


def _read_enter(action: Callable[[], None]) -> None:
    loop, terminal = asyncio.get_running_loop(), sys.stdin.fileno()
    if not _in_foreground(terminal):
        # The input is for another process, and reading it from the background would stop this one.
        loop.remove_reader(terminal)
        loop.call_later(FOREGROUND_CHECK_S, call_on_enter, action)
        return
    with contextlib.suppress(OSError):
        if os.read(terminal, 1024):
            action()
            return
    loop.remove_reader(terminal)  # the terminal is gone


def _in_foreground(terminal: int) -> bool:
    try:
        return os.tcgetpgrp(terminal) == os.getpgrp()
    except OSError:
        return False
