"""All that runs on the craft: telemetry in, figures out, a feed for viewers. No screen code."""

import os

__version__ = "0.2.0"

# The matrices here are small: threads of the linear algebra would only wait for each other, on a
# small board for longer than the work takes. It must be said before numpy is first imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
