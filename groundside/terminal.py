"""Whether a full-screen dashboard can run here, told before any screen code is loaded."""

import os
import sys


def usable_terminal() -> bool:
    """Tell whether the dashboard can draw here and read keys.

    Returns
    -------
    bool
        True where input, output and error output are terminals that can move the cursor.

    Notes
    -----
    Error output counts because the screen is drawn on it: sent to a file, that file would fill
    with escape codes. With standard input at its end the key reader would spin for ever.
    """
    if os.environ.get("TERM", "") in ("", "dumb"):
        return False
    for stream in (sys.stdin, sys.stdout, sys.stderr):
        try:
            if not stream.isatty():
                return False
        except (AttributeError, ValueError):  # none at all, or closed
            return False
    return True
