"""Tests run with the strict switch: a fault that the daemon would stand is raised instead."""

import os

from onboard.subscriber import STRICT

os.environ[STRICT] = "1"
