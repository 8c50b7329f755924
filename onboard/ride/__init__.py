"""One craft's ride.

Frames and commands in, snapshots out, and what it learned for the next one. No clock.
"""
