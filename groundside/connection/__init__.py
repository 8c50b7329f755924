"""From the feed to the viewer: finding crafts, connecting to them, and sending commands."""
