"""Monte Carlo evaluation with simulated craft: do the figures and their intervals hold?

Run `python -m tests.evaluation --help`; not part of the unit tests. Results are in README.md.
"""

import os

# All cores run evaluation processes: threads inside numpy would compete with them.
os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
