"""One craft's ride: frames and commands in, snapshots out, and the learned state. No clock."""
