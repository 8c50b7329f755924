"""The program from its first to its last instant: an interrupt at any of them ends it quietly.

Nothing heavy may be imported here. Until `main` can catch an interrupt, and once it has come back,
SIGINT has the system's own way: it ends the process, and no line is said about where it was.
"""

import signal
import sys


def run() -> int:
    """Run the command line; give its exit code, 130 after an interrupt."""
    taken = signal.getsignal(signal.SIGINT)  # ignored from outside, as with nohup, it stays so
    ends = signal.SIG_DFL if taken is signal.default_int_handler else taken
    signal.signal(signal.SIGINT, ends)
    sys.unraisablehook = _unraisable
    from groundside.command_line import main

    try:
        signal.signal(signal.SIGINT, taken)
        return main()
    except KeyboardInterrupt:
        return 130
    finally:
        signal.signal(signal.SIGINT, ends)


def _unraisable(lost: "sys.UnraisableHookArgs") -> None:
    """Let an interrupt end the process that came where nothing can be raised, in a destructor."""
    if lost.exc_type is KeyboardInterrupt:
        signal.signal(signal.SIGINT, signal.SIG_DFL)
        signal.raise_signal(signal.SIGINT)
    sys.__unraisablehook__(lost)
