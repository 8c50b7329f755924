"""What holds for all tests.

They run with the strict switch: a fault that the daemon would stand is raised instead. And no test
may fail because the machine is slow or busy, so examples are given all the time they take.
"""

import os

from hypothesis import HealthCheck, settings

from onboard.subscriber import STRICT

os.environ[STRICT] = "1"

settings.register_profile("patient", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("patient")
