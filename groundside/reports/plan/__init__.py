"""Plans the next trip from what the craft has shown."""
