"""`python -m onboard`: the daemon's command line."""

import sys

from onboard.command_line import main

if __name__ == "__main__":
    sys.exit(main())
