"""Lines on stdout: if that fails, log it once and carry on."""

import logging
import os
import sys

log = logging.getLogger("wattwake")


def print_line(text: str) -> None:
    """Print a line and flush; if a full card or a broken pipe refuses it, log that once."""
    try:
        print(f"wattwake: {text}", flush=True)
    except OSError as problem:
        log.warning("stdout cannot be written: %s", problem.strerror)
        discard_stdout()


def discard_stdout() -> None:
    """Redirect stdout to the null device: flushing its buffer would make the exit fail."""
    sink = os.open(os.devnull, os.O_WRONLY | os.O_CLOEXEC)
    os.dup2(sink, sys.stdout.fileno())
    os.close(sink)
