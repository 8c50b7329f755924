"""What runs on the craft: telemetry in, figures out, a feed for viewers. No screen code."""

import os

__version__ = "0.2.0"

# The matrices here are small: linear algebra threads would spend more time waiting for each other
# than working, on a small board. It must be set before numpy is first imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
