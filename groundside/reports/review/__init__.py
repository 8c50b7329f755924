"""After the session: what a saved log says."""
