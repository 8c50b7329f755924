"""The snapshot and the server that gives it to viewers."""
