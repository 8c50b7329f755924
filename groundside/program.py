"""Entry point of the viewer: an interrupt ends the program quietly at any time.

Import nothing heavy here. Before `main` can catch an interrupt, and after it has returned, SIGINT
has its default action: it ends the process without a traceback.
"""

import gc
import signal
import sys

COLLECT_EVERY = 20_000
"""Objects from one search for unreachable ones to the next: by Python's own 700, a start would
search a hundred times, and all that is loaded then stays.
"""


def run() -> int:
    """Run the command line; return its exit code, 130 after an interrupt."""
    inherited = signal.getsignal(signal.SIGINT)  # ignored, as under nohup, it stays ignored
    outside_main = signal.SIG_DFL if inherited is signal.default_int_handler else inherited
    signal.signal(signal.SIGINT, outside_main)
    sys.unraisablehook = _unraisable
    gc.set_threshold(COLLECT_EVERY, 10, 10)
    from groundside.command_line import main

    try:
        signal.signal(signal.SIGINT, inherited)
        return main()
    except KeyboardInterrupt:
        return 130
    finally:
        signal.signal(signal.SIGINT, outside_main)


def _unraisable(unraisable: "sys.UnraisableHookArgs") -> None:
    """End the process on an interrupt that arrived in a destructor, where it cannot be raised."""
    if unraisable.exc_type is KeyboardInterrupt:
        signal.signal(signal.SIGINT, signal.SIG_DFL)
        signal.raise_signal(signal.SIGINT)
    sys.__unraisablehook__(unraisable)
