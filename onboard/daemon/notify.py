"""What the daemon tells the service manager that started it: ready, alive, stopping, how it does.

The protocol is that of systemd's man pages sd_notify(3) and sd_watchdog_enabled(3), version 252:
one datagram of `KEY=value` lines to the socket named in the environment. Started by hand, there is
no such socket, and nothing here does anything. Nothing here raises or waits for long: a manager
that does not listen must not hold up the figures.
"""

import os
import socket
import time

SOCKET, WATCHDOG_USEC, WATCHDOG_PID = "NOTIFY_SOCKET", "WATCHDOG_USEC", "WATCHDOG_PID"

WAIT_S = 0.2
"""A manager whose socket is full is waited for no longer than this."""

STATUS_MOST = 200
"""A status is one line for people [characters]."""


def ready(status_text: str | None = None) -> bool:
    """Say that the start, or a reload, is finished; tell whether it was sent."""
    return _tell("READY=1", status_text)


def stopping() -> bool:
    """Say that the end has begun; tell whether it was sent."""
    return _tell("STOPPING=1")


def reloading() -> bool:
    """Say that the profile is being read anew; `ready` must follow. Tell whether it was sent."""
    # The time is asked for by newer managers, and ignored by older ones (from memory).
    return _tell(f"RELOADING=1\nMONOTONIC_USEC={time.monotonic_ns() // 1000}")


def status(text: str) -> bool:
    """Say in a line how it goes, for `systemctl status`; tell whether it was sent."""
    return _tell(None, text)


def watchdog() -> bool:
    """Say that the main loop is alive; tell whether it was sent."""
    return _tell("WATCHDOG=1")


def watchdog_every_s() -> float | None:
    """Return how often `watchdog` is due [s]: half of what the manager waits. None: never."""
    waits_us, for_whom = os.environ.get(WATCHDOG_USEC, ""), os.environ.get(WATCHDOG_PID)
    if not (waits_us.isascii() and waits_us.isdecimal()) or int(waits_us) == 0:
        return None
    if for_whom is not None and for_whom != str(os.getpid()):
        return None
    return int(waits_us) * 1e-6 / 2


def _tell(state: str | None, status_text: str | None = None) -> bool:
    address = os.environ.get(SOCKET, "")
    if not address.startswith(("/", "@")):
        return False
    lines = [] if state is None else [state]
    if status_text is not None:
        # One line: what came from outside must not pass for a statement of its own.
        lines.append(f"STATUS={' '.join(status_text.split())[:STATUS_MOST]}")
    if address.startswith("@"):
        address = f"\0{address[1:]}"
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as outlet:
            outlet.settimeout(WAIT_S)
            outlet.sendto("\n".join(lines).encode("utf-8", "replace"), address)
    except OSError:
        return False
    return True
