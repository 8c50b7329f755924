"""Monte Carlo over the simulated craft: do the figures and their intervals hold?

One command, `python -m tests.evaluation --help`; not part of the unit tests.
"""

import os

# Both cores are used by processes of our own: threads inside numpy would only get in their way.
os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
