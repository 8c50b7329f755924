"""Settings for all tests.

They run with the strict switch: a fault that the daemon would tolerate is raised instead. No test
may fail because the machine is slow or busy, so examples have no deadline.
"""

import contextlib
import gc
import os
import signal

import pytest
from hypothesis import HealthCheck, settings

from onboard.record.subscriber import STRICT

os.environ[STRICT] = "1"

# A process started in a shell's background ignores interrupts, and so would its children.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    with contextlib.suppress(ValueError):  # handlers can be set in the main thread only
        signal.signal(signal.SIGINT, signal.default_int_handler)

settings.register_profile("patient", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("patient")


def pytest_xdist_auto_num_workers(config: pytest.Config) -> int:
    """Return the number of processes that share the tests: one if files are named.

    Tests of real processes wait half the time, so one process more than there are cores keeps all
    cores busy.
    """
    return 0 if config.args_source is config.ArgsSource.ARGS else (os.cpu_count() or 1) + 1


def pytest_collection_finish() -> None:
    """Exclude the collected tests from garbage collection, as they live until the end.

    Traversing them again and again took a quarter of the whole time.
    """
    gc.collect()
    gc.freeze()
