"""A saved log turned into the same snapshots as live."""
