"""Capabilities of the terminal, determined before any screen code is loaded."""

import os
import sys

SERVED_VARIABLE = "WATTWAKE_SERVED_BY"
"""Set by the `serve` process to its process id: the dashboard then draws for a browser."""
TOUCH_VARIABLE = "WATTWAKE_TOUCH"
"""Set to 1 for a touch screen: buttons are then large at any size."""


def served_by() -> int | None:
    """Return the process id of the web server that runs this dashboard; None without one."""
    raw = os.environ.get(SERVED_VARIABLE, "")
    return int(raw) if raw.isascii() and raw.isdigit() and int(raw) == os.getppid() else None


def is_touch() -> bool:
    """Return whether the terminal is known to be a touch screen."""
    return os.environ.get(TOUCH_VARIABLE) == "1" or served_by() is not None


def usable_terminal() -> bool:
    """Return whether the dashboard can draw and read keys here.

    Returns
    -------
    bool
        True if input, output and error output are terminals that can move the cursor, or if a
        browser is behind them.

    Notes
    -----
    Error output counts because the screen is drawn on it: redirected to a file, it would fill the
    file with escape codes. At the end of standard input, the key reader would spin for ever.
    """
    if served_by() is not None:
        return True
    if os.environ.get("TERM", "") in ("", "dumb"):
        return False
    for stream in (sys.stdin, sys.stdout, sys.stderr):
        try:
            if not stream.isatty():
                return False
        except (AttributeError, ValueError):  # missing or closed
            return False
    return True
