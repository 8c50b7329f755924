"""What holds for all tests.

They run with the strict switch: a fault that the daemon would stand is raised instead. And no test
may fail because the machine is slow or busy, so examples are given all the time they take.
"""

import contextlib
import gc
import os
import signal

import pytest
from hypothesis import HealthCheck, settings

from onboard.record.subscriber import STRICT

os.environ[STRICT] = "1"

# What a shell starts in the background ignores interrupts, and so would all that the tests start.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    with contextlib.suppress(ValueError):  # in a thread there is nothing to set
        signal.signal(signal.SIGINT, signal.default_int_handler)

settings.register_profile("patient", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("patient")


def pytest_xdist_auto_num_workers(config: pytest.Config) -> int:
    """Return the number of processes that share the tests: one alone for files that were named.

    Those that watch real processes wait half the time, so one process more than there are cores
    keeps all cores at work.
    """
    return 0 if config.args_source is config.ArgsSource.ARGS else (os.cpu_count() or 1) + 1


def pytest_collection_finish() -> None:
    """Take what was collected out of the garbage collector's rounds: it stays until the end.

    Looking through all of it again and again was a quarter of the whole time.
    """
    gc.collect()
    gc.freeze()
