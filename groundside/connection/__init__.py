"""Sources of snapshots: finding crafts, reading their feeds, sending commands."""
