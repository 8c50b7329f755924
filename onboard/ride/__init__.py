"""One craft's ride: frames and commands in, snapshots out, and what it learned. No clock."""
