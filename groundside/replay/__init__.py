"""A saved log as a source of the same snapshots as a live ride."""
