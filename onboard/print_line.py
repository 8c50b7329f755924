"""What the daemon says on stdout: where that takes nothing it is logged, and all else goes on."""

import logging
import os
import sys

log = logging.getLogger("wattwake")


def print_line(text: str) -> None:
    """Print a line at once; where a full card or a broken pipe takes none, log it once."""
    try:
        print(f"wattwake: {text}", flush=True)
    except OSError as problem:
        log.warning("stdout takes nothing: %s", problem.strerror)
        let_stdout_go()


def let_stdout_go() -> None:
    """Have stdout lead nowhere: what is left in its buffer would spoil the end of the process."""
    place = os.open(os.devnull, os.O_WRONLY | os.O_CLOEXEC)
    os.dup2(place, sys.stdout.fileno())
    os.close(place)
