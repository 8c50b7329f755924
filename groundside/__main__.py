"""`python -m groundside`: the viewer's command line."""

import sys

from groundside.program import run

if __name__ == "__main__":
    sys.exit(run())
