"""A saved log as a source of the same snapshots as live."""
