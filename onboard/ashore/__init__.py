"""Commands for ashore: `check` (gather facts, judge them, report) and `install-service`."""
