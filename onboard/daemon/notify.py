"""Notify the service manager that started the daemon: ready, alive, stopping, status.

The protocol is that of systemd's man pages sd_notify(3) and sd_watchdog_enabled(3), version 252:
one datagram of `KEY=value` lines to the socket named in the environment. Without that socket, as
when started from a shell, all functions do nothing. None raises or blocks for long: a manager that
does not read must not delay the figures. All return whether the datagram was sent.
"""

import os
import socket
import time

SOCKET, WATCHDOG_USEC, WATCHDOG_PID = "NOTIFY_SOCKET", "WATCHDOG_USEC", "WATCHDOG_PID"

WAIT_S = 0.2
"""Longest wait for a manager whose socket is full."""

STATUS_MOST = 200
"""Longest status line [characters]."""


def ready(status_text: str | None = None) -> bool:
    """Report that the start, or a reload, has finished."""
    return _send("READY=1", status_text)


def stopping() -> bool:
    """Report that the end has begun."""
    return _send("STOPPING=1")


def reloading() -> bool:
    """Report that the profile is being reloaded; `ready` must follow."""
    # Newer managers need the time, older ones ignore it (from memory).
    return _send(f"RELOADING=1\nMONOTONIC_USEC={time.monotonic_ns() // 1000}")


def status(text: str) -> bool:
    """Set the status line of `systemctl status`."""
    return _send(None, text)


def watchdog() -> bool:
    """Report that the main loop is alive."""
    return _send("WATCHDOG=1")


def watchdog_every_s() -> float | None:
    """Return the interval of `watchdog` [s]: half the manager's timeout, None if it has none."""
    timeout_us, pid = os.environ.get(WATCHDOG_USEC, ""), os.environ.get(WATCHDOG_PID)
    if not (timeout_us.isascii() and timeout_us.isdecimal()) or int(timeout_us) == 0:
        return None
    if pid is not None and pid != str(os.getpid()):
        return None
    return int(timeout_us) * 1e-6 / 2


def _send(state: str | None, status_text: str | None = None) -> bool:
    address = os.environ.get(SOCKET, "")
    if not address.startswith(("/", "@")):
        return False
    lines = [] if state is None else [state]
    if status_text is not None:
        # On one line: external text must not inject further assignments.
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
