"""What the daemon says on stdout: if stdout fails, that is logged and all else goes on."""

import logging
import os
import sys

log = logging.getLogger("wattwake")


def print_line(text: str) -> None:
    """Print a line at once; if a full card or a broken pipe refuses it, log that once."""
    try:
        print(f"wattwake: {text}", flush=True)
    except OSError as problem:
        log.warning("stdout cannot be written: %s", problem.strerror)
        let_stdout_go()


def let_stdout_go() -> None:
    """Lead stdout nowhere: what is left in its buffer would make the exit of the process fail."""
    place = os.open(os.devnull, os.O_WRONLY | os.O_CLOEXEC)
    os.dup2(place, sys.stdout.fileno())
    os.close(place)
