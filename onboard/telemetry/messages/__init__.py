"""Frames to columns in SI units on the autopilot's clock.

`table` has a row for each message; one decoder serves links and logs.
"""
